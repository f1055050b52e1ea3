#include "traces.hpp"

#include "firstedge/core/error.hpp"

#include "arrays.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <type_traits>

#include <fmt/format.h>
#include <pybind11/stl.h>

namespace firstedge::python {
namespace {

constexpr const char* types_known = "int8, uint8, int16, uint16, int32, float32 or float64";

template <class Number>
Counts row_of(const void* first, std::size_t size) {
  return std::span<const Number>(static_cast<const Number*>(first), size);
}
using MakeRow = Counts (*)(const void*, std::size_t);

// How a row of this element type is seen; null for types that Counts does not have.
MakeRow row_maker(char kind, py::ssize_t bytes) {
  if (kind == 'i')
    return bytes == 2   ? row_of<std::int16_t>
           : bytes == 4 ? row_of<std::int32_t>
           : bytes == 1 ? row_of<std::int8_t>
                        : nullptr;
  if (kind == 'u') return bytes == 2 ? row_of<std::uint16_t> : bytes == 1 ? row_of<std::uint8_t> : nullptr;
  if (kind == 'f') return bytes == 8 ? row_of<double> : bytes == 4 ? row_of<float> : nullptr;
  return nullptr;
}

std::string type_name(const py::handle& object) {
  return py::str(py::type::handle_of(object).attr("__name__"));
}

py::array array_at(const py::object& object, const std::string& place) {
  if (!py::isinstance<py::array>(object))
    throw Error(place, fmt::format("is of type {}", type_name(object)), "give a NumPy array");
  return py::reinterpret_borrow<py::array>(object);
}

std::string shape_words(const py::array& array) {
  return py::str(array.attr("shape"));
}

void check_scale(const TraceScale& scale, const std::string& place) {
  if (!(scale.interval_s > 0) || !std::isfinite(scale.interval_s))
    throw Error(place, fmt::format("the sample interval is {:g} s", scale.interval_s),
                "give interval_s in seconds, above 0");
  if (!std::isfinite(scale.first_sample_s) || !std::isfinite(scale.offset_v))
    throw Error(place, "first_sample_s or offset_v is not finite", "give numbers");
  if (!std::isfinite(scale.volts_per_count) || scale.volts_per_count == 0)
    throw Error(place, fmt::format("volts_per_count is {:g}", scale.volts_per_count),
                "give a number that is not 0");
  if (!(scale.lowest_count < scale.highest_count))
    throw Error(place, "lowest_count is not below highest_count", "leave out the limits that are not known");
}

MakeRow checked_layout(const py::array& array, const std::string& place) {
  const auto* fields = py::detail::array_proxy(array.ptr());
  const auto* type = py::detail::array_descriptor_proxy(fields->descr);
  const MakeRow make_row = row_maker(type->kind, array.itemsize());
  const bool native = type->byteorder == '=' || type->byteorder == '|';
  if (make_row == nullptr || !native)
    throw Error(place, fmt::format("has elements of type {}", std::string(py::str(array.dtype()))),
                fmt::format("give {} in the machine's byte order", types_known));
  const py::ssize_t dimensions = array.ndim();
  if (dimensions != 1 && dimensions != 2)
    throw Error(place, fmt::format("has the shape {}", shape_words(array)),
                "give (samples,) or (records, samples)");
  const py::ssize_t samples = array.shape(dimensions - 1);
  if (samples == 0) throw Error(place, "has no samples", "give at least one");
  const bool aligned = (fields->flags & py::detail::npy_api::NPY_ARRAY_ALIGNED_) != 0;
  if (array.size() > 0 && (!aligned || (samples > 1 && array.strides(dimensions - 1) != array.itemsize())))
    throw Error(place, "has samples that do not stand one behind the other in memory",
                "give numpy.ascontiguousarray of it");
  return make_row;
}

bool same_scale(const Trace& a, const Trace& b) {
  return a.interval_s == b.interval_s && a.volts_per_count == b.volts_per_count && a.offset_v == b.offset_v &&
         a.lowest_count == b.lowest_count && a.highest_count == b.highest_count;
}

// The bytes from each row to the next, where that is the same for all of them and no rows overlap.
std::optional<py::ssize_t> even_stride(const std::vector<Trace>& traces) {
  const auto start = [](const Trace& trace) {
    return std::visit([](const auto& samples) { return reinterpret_cast<std::intptr_t>(samples.data()); },
                      trace.counts);
  };
  const std::size_t bytes =
      std::visit([](const auto& samples) { return samples.size_bytes(); }, traces.front().counts);
  if (traces.size() < 2) return static_cast<py::ssize_t>(bytes);
  const std::intptr_t stride = start(traces[1]) - start(traces[0]);
  if (stride < static_cast<std::intptr_t>(bytes)) return std::nullopt;
  for (std::size_t i = 2; i < traces.size(); ++i)
    if (start(traces[i]) - start(traces[i - 1]) != stride) return std::nullopt;
  return static_cast<py::ssize_t>(stride);
}

template <class Number>
py::array rows_as_array(std::vector<Trace>& traces, const py::object& owner) {
  const auto rows = static_cast<py::ssize_t>(traces.size());
  const auto samples = static_cast<py::ssize_t>(traces.front().size());
  const auto row = [](const Trace& trace) { return std::get<std::span<const Number>>(trace.counts); };
  if (const auto stride = even_stride(traces)) {
    py::array_t<Number> view({rows, samples}, {*stride, static_cast<py::ssize_t>(sizeof(Number))},
                             row(traces[0]).data(), owner);
    make_read_only(view);
    return view;
  }
  py::array_t<Number> copy({rows, samples});
  for (py::ssize_t i = 0; i < rows; ++i) {
    const std::span<const Number> from = row(traces[static_cast<std::size_t>(i)]);
    std::copy(from.begin(), from.end(), copy.mutable_data(i));
    traces[static_cast<std::size_t>(i)].counts = std::span<const Number>(copy.data(i), from.size());
  }
  return copy;
}

py::object first_sample_s(const TraceArray& array) {
  if (!array.is_block()) return py::float_(array.first().first_sample_s);
  py::array_t<double> all(static_cast<py::ssize_t>(array.traces.size()));
  std::transform(array.traces.begin(), array.traces.end(), all.mutable_data(),
                 [](const Trace& trace) { return trace.first_sample_s; });
  return all;
}

py::array volts_of(const TraceArray& array) {
  if (!array.is_block()) return given_away(volts(array.first()));
  const auto rows = static_cast<py::ssize_t>(array.traces.size());
  const auto samples = array.counts.shape(array.counts.ndim() - 1);
  py::array_t<double> all({rows, samples});
  double* out = all.mutable_data();
  without_lock([&] {
    for (const Trace& trace : array.traces) {
      const std::vector<double> one = volts(trace);
      out = std::copy(one.begin(), one.end(), out);
    }
  });
  return all;
}

py::array times_of(const TraceArray& array) {
  if (array.is_block())
    throw Error("times_s", "a block has no one time axis", "take it of one trace: trace[0].times_s()");
  const auto samples = static_cast<py::ssize_t>(array.first().size());
  py::array_t<double> times(samples);
  for (py::ssize_t i = 0; i < samples; ++i)
    times.mutable_data()[i] = array.first().time_s(static_cast<double>(i));
  return times;
}

TraceArray row_at(const TraceArray& array, py::ssize_t index) {
  const auto rows = static_cast<py::ssize_t>(array.traces.size());
  if (!array.is_block()) throw py::type_error("one trace has no rows");
  if (index < 0) index += rows;
  if (index < 0 || index >= rows) throw py::index_error("no such row");
  const auto row = static_cast<std::size_t>(index);
  return {.counts = py::array(array.counts[py::int_(index)]),
          .traces = {array.traces[row]},
          .records = {array.records[row]}};
}

std::string words_of(const TraceArray& array) {
  return fmt::format("<firstedge.Trace {} of {} every {:g} s>", shape_words(array.counts),
                     std::string(py::str(array.counts.dtype())),
                     array.traces.empty() ? 0 : array.first().interval_s);
}

TraceArray made(const py::object& counts, double interval_s, double first, double volts_per_count,
                double offset_v, double lowest, double highest) {
  TraceArray array =
      traces_of(counts, {interval_s, first, volts_per_count, offset_v, lowest, highest}, "counts");
  if (array.traces.empty()) throw Error("counts", "has no records", "give at least one");
  return array;
}

}  // namespace

TraceArray traces_of(const py::object& counts, const TraceScale& scale, const std::string& place) {
  const py::array array = array_at(counts, place);
  const MakeRow make_row = checked_layout(array, place);
  check_scale(scale, place);
  const bool block = array.ndim() == 2;
  const py::ssize_t rows = block ? array.shape(0) : 1;
  const py::ssize_t stride = block ? array.strides(0) : 0;
  const auto samples = static_cast<std::size_t>(array.shape(block ? 1 : 0));
  const char* first = static_cast<const char*>(array.data());
  TraceArray made{.counts = array, .traces = {}, .records = {}};
  made.traces.reserve(static_cast<std::size_t>(rows));
  for (py::ssize_t row = 0; row < rows; ++row) {
    made.traces.push_back({.counts = make_row(first + row * stride, samples),
                           .interval_s = scale.interval_s,
                           .first_sample_s = scale.first_sample_s,
                           .volts_per_count = scale.volts_per_count,
                           .offset_v = scale.offset_v,
                           .lowest_count = scale.lowest_count,
                           .highest_count = scale.highest_count});
    made.records.push_back(static_cast<std::uint64_t>(row));
  }
  return made;
}

TraceArray joined(std::vector<Trace> traces, std::vector<std::uint64_t> records, const py::object& owner) {
  for (const Trace& trace : traces) {
    if (trace.counts.index() != traces.front().counts.index() || trace.size() != traces.front().size() ||
        !same_scale(trace, traces.front()))
      throw Error("block", "the traces of this channel differ in type, size or scale",
                  "take them record by record");
  }
  py::array counts = std::visit(
      [&](const auto& samples) {
        return rows_as_array<typename std::remove_cvref_t<decltype(samples)>::value_type>(traces, owner);
      },
      traces.front().counts);
  return {.counts = std::move(counts), .traces = std::move(traces), .records = std::move(records)};
}

std::span<const double> doubles_of(const py::object& object, const std::string& place) {
  const py::array array = array_at(object, place);
  if (!py::isinstance<py::array_t<double>>(array) || array.ndim() != 1 ||
      (array.size() > 1 && array.strides(0) != sizeof(double)))
    throw Error(place,
                fmt::format("is an array of {} with the shape {}", std::string(py::str(array.dtype())),
                            shape_words(array)),
                "give contiguous float64 of shape (samples,)");
  return {static_cast<const double*>(array.data()), static_cast<std::size_t>(array.size())};
}

void bind_traces(py::module_& module) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  py::class_<TraceArray>(module, "Trace", found_soon,
                         R"(Samples of one channel with their scale: one trace, or a block of them.

counts: shape (samples,) or (records, samples), of type int8, uint8, int16, uint16, int32, float32 or float64; not
copied, so do not change them while a call runs. interval_s: from sample to sample, s. first_sample_s: time of the
first sample from the trigger, s. A count is worth volts_per_count * count + offset_v. lowest_count, highest_count: the
digitizer's limits; a count at or beyond one is clipped. Raises Error for other types and shapes, samples that do not
stand one behind the other in memory, and a scale without sense. NaN and infinite samples count as clipped.)")
      .def(py::init(&made), py::arg("counts"), py::arg("interval_s"), py::arg("first_sample_s") = 0.0,
           py::arg("volts_per_count") = 1.0, py::arg("offset_v") = 0.0, py::arg("lowest_count") = -infinity,
           py::arg("highest_count") = infinity)
      .def_readonly(
          "counts", &TraceArray::counts,
          "The numbers as they were recorded; of records read from a file a view that cannot be written.")
      .def_property_readonly(
          "interval_s", [](const TraceArray& a) { return a.first().interval_s; }, "From sample to sample, s.")
      .def_property_readonly("first_sample_s", &first_sample_s,
                             "Time of the first sample from the trigger, s; of a block, shape (records,).")
      .def_property_readonly(
          "volts_per_count", [](const TraceArray& a) { return a.first().volts_per_count; }, "V a count.")
      .def_property_readonly(
          "offset_v", [](const TraceArray& a) { return a.first().offset_v; }, "V at a count of 0.")
      .def_property_readonly(
          "lowest_count", [](const TraceArray& a) { return a.first().lowest_count; },
          "The digitizer's lowest count; -inf where not known.")
      .def_property_readonly(
          "highest_count", [](const TraceArray& a) { return a.first().highest_count; },
          "The digitizer's highest count; inf where not known.")
      .def_property_readonly(
          "records", [](const TraceArray& a) { return copied(std::span<const std::uint64_t>(a.records)); },
          "The number of each trace's record, shape (records,).")
      .def_property_readonly(
          "shape", [](const TraceArray& a) { return a.counts.attr("shape"); },
          "(samples,) or (records, samples).")
      .def("volts", &volts_of, "The samples in volts, float64 of the same shape: a new array.")
      .def("times_s", &times_of, "The samples' times from the trigger, s, shape (samples,); of one trace.")
      .def("__len__", [](const TraceArray& a) { return a.counts.shape(0); })
      .def("__getitem__", &row_at, py::arg("row"), "One trace of a block, without a copy.")
      .def("__repr__", &words_of);
}

}  // namespace firstedge::python
