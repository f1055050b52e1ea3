// Instants, their texts and NumPy's datetime64, and the scales they are read on.
#include "instants.hpp"

#include "firstedge/clock/tie_result.hpp"
#include "firstedge/clock/time_scales.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/io/leap_second_file.hpp"

#include <algorithm>
#include <string_view>

#include <fmt/format.h>
#include <pybind11/operators.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

constexpr std::int64_t femtoseconds_per_nanosecond = 1'000'000;
constexpr std::int64_t nanoseconds_per_second = 1'000'000'000;
/// datetime64[ns] holds 64 bits of nanoseconds: 1677 to 2262.
constexpr std::int64_t last_second_in_nanoseconds = 9'223'372'035;

Instant made(std::int64_t seconds, std::int64_t femtoseconds, const std::string& scale) {
  return instant_of(seconds, femtoseconds, scale_named(scale));
}

py::object numpy_time(const Instant& instant) {
  if (instant.femtoseconds >= femtoseconds_per_second)
    throw Error(to_text(instant), "is in a leap second, which datetime64 does not have",
                "convert it to TAI first");
  if (instant.seconds > last_second_in_nanoseconds || instant.seconds < -last_second_in_nanoseconds)
    throw Error(to_text(instant), "is beyond what datetime64[ns] holds",
                "stay between the years 1678 and 2262");
  const std::int64_t nanoseconds =
      instant.seconds * nanoseconds_per_second +
      (instant.femtoseconds + femtoseconds_per_nanosecond / 2) / femtoseconds_per_nanosecond;
  return py::module_::import("numpy").attr("datetime64")(nanoseconds, "ns");
}

Instant of_numpy_time(const py::object& time, const std::string& scale) {
  const py::module_ numpy = py::module_::import("numpy");
  if (!py::isinstance(time, numpy.attr("datetime64")) || numpy.attr("isnat")(time).cast<bool>())
    throw Error("time", fmt::format("'{}' is no time of numpy.datetime64", std::string(py::str(time))),
                "give a numpy.datetime64 that is not NaT");
  const py::object whole = time.attr("astype")("datetime64[s]");  // rounds towards the past
  const py::object rest = (time - whole).attr("astype")("timedelta64[fs]").attr("astype")("int64");
  return made(whole.attr("astype")("int64").cast<std::int64_t>(), rest.cast<std::int64_t>(), scale);
}

double elapsed(const Instant& later, const Instant& earlier) {
  if (later.scale != earlier.scale)
    throw Error("difference", "the instants are on two scales", "bring both onto one with on_scale");
  return difference_s(later, earlier);
}

}  // namespace

TimeScale scale_named(const std::string& name) {
  const std::optional<TimeScale> scale = time_scale_named(name);
  if (!scale) throw Error(fmt::format("scale '{}'", name), "is not a time scale", "name UTC, TAI or GPS");
  return *scale;
}

Instant instant_of(std::int64_t seconds, std::int64_t femtoseconds, TimeScale scale) {
  const bool utc = scale == TimeScale::utc;
  if (femtoseconds < 0 || femtoseconds >= (utc ? 2 : 1) * femtoseconds_per_second)
    throw Error("femtoseconds", fmt::format("{} are not within a second", femtoseconds),
                "give 0 up to 1e15 (2e15 in a leap second of UTC)");
  return {scale, seconds, femtoseconds};
}

std::array<char, 8> padded_name(TimeScale scale) {
  std::array<char, 8> name{};
  const std::string_view text = to_text(scale);
  std::copy(text.begin(), text.end(), name.begin());
  return name;
}

LeapSeconds leap_seconds_of(const std::optional<std::filesystem::path>& file) {
  return LeapSeconds(read_leap_second_list(file.value_or(system_leap_second_file)));
}

void bind_instants(py::module_& module) {
  py::class_<Instant>(module, "Instant",
                      R"(A point on a time scale in whole seconds and femtoseconds, so that nothing is lost.

seconds: since 1970-01-01T00:00:00 on the scale's own calendar. femtoseconds: 0 up to 1e15; in a leap second of UTC
1e15 up to 2e15. scale: 'UTC', 'TAI' or 'GPS'. Raises Error for other words and femtoseconds. a - b is in seconds, on
one scale; UTC's leap seconds are not counted in it (take TAI). str() gives ISO 8601 with 15 digits.)")
      .def(py::init(&made), py::arg("seconds"), py::arg("femtoseconds") = 0, py::arg("scale") = "UTC")
      .def_static(
          "parse",
          [](const std::string& text, const std::string& scale) {
            return parse_instant(text, scale_named(scale), "time");
          },
          py::arg("text"), py::arg("scale") = "UTC",
          "ISO 8601 with up to 15 digits of fraction; a 'Z' at the end says UTC, else the scale given holds. "
          "Raises Error for other texts.")
      .def_static("from_datetime64", &of_numpy_time, py::arg("time"), py::arg("scale") = "UTC",
                  "From numpy.datetime64 of any unit, exactly down to 1 fs. Raises Error for NaT.")
      .def("datetime64", &numpy_time,
           "numpy.datetime64 rounded to 1 ns. Raises Error in a leap second and outside 1678 to 2262.")
      .def_readonly("seconds", &Instant::seconds, "Since 1970-01-01T00:00:00 on the scale's own calendar.")
      .def_readonly("femtoseconds", &Instant::femtoseconds,
                    "Of the second; from 1e15 on in a leap second of UTC.")
      .def_property_readonly(
          "scale", [](const Instant& instant) { return std::string(to_text(instant.scale)); },
          "'UTC', 'TAI' or 'GPS'.")
      .def("advanced", &advanced, py::arg("duration_s"),
           "This instant and a duration in seconds, rounded to 1 fs. Knows no leap seconds: do sums on TAI.")
      .def(
          "on_scale",
          [](const Instant& instant, const std::string& scale,
             const std::optional<std::filesystem::path>& file) {
            return on_scale(instant, scale_named(scale), leap_seconds_of(file));
          },
          py::arg("scale"), py::arg("leap_seconds") = py::none(),
          "The same instant on 'UTC', 'TAI' or 'GPS'; exact. leap_seconds: a table (leap-seconds.list), or "
          "None for the system's. Raises Error before 1972.")
      .def("__sub__", &elapsed)
      .def(py::self == py::self)  // NOLINT(misc-redundant-expression)
      .def("__hash__",
           [](const Instant& instant) {
             return py::hash(
                 py::make_tuple(static_cast<int>(instant.scale), instant.seconds, instant.femtoseconds));
           })
      .def("__str__", [](const Instant& instant) { return to_text(instant); })
      .def("__repr__",
           [](const Instant& instant) { return fmt::format("<firstedge.Instant {}>", to_text(instant)); });
  module.def(
      "convert",
      [](const std::vector<std::string>& times, const std::string& scale,
         const std::optional<std::filesystem::path>& file) {
        const LeapSeconds leap_seconds = leap_seconds_of(file);
        std::vector<Instant> instants;
        for (const std::string& time : times)
          instants.push_back(parse_time(time, scale_named(scale), leap_seconds, "times"));
        return instants_result(instants, leap_seconds);
      },
      py::arg("times"), py::arg("scale"), py::arg("leap_seconds"));
}

}  // namespace firstedge::python
