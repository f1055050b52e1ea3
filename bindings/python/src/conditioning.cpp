// Conditioning, filters and the spectrum of noise, on NumPy arrays.
#include "firstedge/signal/conditioning.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/json_settings.hpp"
#include "firstedge/signal/noise.hpp"
#include "firstedge/signal/pulse_measures.hpp"

#include "arrays.hpp"
#include "parallel.hpp"
#include "traces.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <pybind11/stl.h>

namespace firstedge::python {
namespace {

// What conditioning made of one trace or of a block.
struct Conditioned {
  std::vector<ConditionedTrace> traces;
  bool block = false;
};

// One number a trace: a plain number of one trace, shape (records,) of a block.
template <class Read>
py::object by_trace(const Conditioned& conditioned, Read&& read) {
  using Number = decltype(read(conditioned.traces.front()));
  if (!conditioned.block) return py::cast(read(conditioned.traces.front()));
  py::array_t<Number> all(static_cast<py::ssize_t>(conditioned.traces.size()));
  std::transform(conditioned.traces.begin(), conditioned.traces.end(), all.mutable_data(), read);
  return all;
}

py::array volts_of(const Conditioned& conditioned) {
  if (!conditioned.block) return copied(std::span<const double>(conditioned.traces.front().volts));
  const auto rows = static_cast<py::ssize_t>(conditioned.traces.size());
  py::array_t<double> all({rows, static_cast<py::ssize_t>(conditioned.traces.front().volts.size())});
  double* out = all.mutable_data();
  for (const ConditionedTrace& trace : conditioned.traces)
    out = std::copy(trace.volts.begin(), trace.volts.end(), out);
  return all;
}

py::array clipped_of(const ConditionedTrace& trace) {
  py::array_t<std::uint64_t> ranges({static_cast<py::ssize_t>(trace.clipped.size()), py::ssize_t{2}});
  std::uint64_t* out = ranges.mutable_data();
  for (const SampleRange& range : trace.clipped) {
    *out++ = range.first;
    *out++ = range.last;
  }
  return ranges;
}

py::object all_clipped(const Conditioned& conditioned) {
  if (!conditioned.block) return clipped_of(conditioned.traces.front());
  py::list all;
  for (const ConditionedTrace& trace : conditioned.traces) all.append(clipped_of(trace));
  return all;
}

ConditioningOptions options_of(const std::string& baseline, const std::vector<std::string>& filters) {
  std::vector<Settings> of_filters;
  for (const std::string& filter : filters) of_filters.push_back(settings_from_json(filter, "filter"));
  return conditioning_options(settings_from_json(baseline, "baseline"), of_filters);
}

Conditioned conditioned(const Conditioner& conditioner, const py::object& samples, int threads) {
  const TraceArray array = traces_or_volts(samples, conditioner.interval_s());
  if (array.traces.empty()) throw Error("samples", "has no records", "give at least one");
  Conditioned made{.traces = std::vector<ConditionedTrace>(array.traces.size()), .block = array.is_block()};
  without_lock([&] {
    for_each_index(array.traces.size(), threads,
                   [&](std::size_t i) { made.traces[i] = conditioner(array.traces[i]); });
  });
  return made;
}

// Filters know finite volts only.
void check_finite(const std::vector<double>& volts) {
  if (!std::all_of(volts.begin(), volts.end(), [](double v) { return std::isfinite(v); }))
    throw Error("volts", "has samples that are not finite", "condition the trace, which bridges them");
}

py::array filtered(const Filter& filter, const py::object& volts, int threads) {
  const TraceArray array = traces_of(volts, {.interval_s = filter.interval_s()}, "volts");
  std::vector<std::vector<double>> rows(array.traces.size());
  without_lock([&] {
    for_each_index(rows.size(), threads, [&](std::size_t i) {
      const std::vector<double> row = firstedge::volts(array.traces[i]);
      check_finite(row);
      rows[i] = filter(row).volts;
    });
  });
  std::vector<py::ssize_t> shape(array.counts.shape(), array.counts.shape() + array.counts.ndim());
  py::array_t<double> all(shape);
  double* out = all.mutable_data();
  for (const std::vector<double>& row : rows) out = std::copy(row.begin(), row.end(), out);
  return all;
}

py::tuple spectrum_of(const py::object& volts, double interval_s, std::optional<std::size_t> segment) {
  const TraceArray array = traces_of(volts, {.interval_s = interval_s}, "volts");
  if (array.traces.empty()) throw Error("volts", "has no records", "give at least one");
  const std::size_t samples = segment.value_or(std::min<std::size_t>(array.first().size(), 1024));
  if (samples == 0) throw Error("segment", "is 0 samples", "give at least 1");
  const PowerSpectrum spectrum = without_lock([&] {
    std::vector<PowerSpectrum> spectra;
    for (const Trace& trace : array.traces) {
      const std::vector<double> row = firstedge::volts(trace);
      check_finite(row);
      spectra.push_back(welch(row, interval_s, samples));
    }
    return mean_of(spectra);
  });
  return py::make_tuple(copied(std::span<const double>(spectrum.frequency_hz)),
                        copied(std::span<const double>(spectrum.density_v2_per_hz)));
}

py::dict measures_of(const py::object& volts, double interval_s) {
  using namespace py::literals;
  const std::span<const double> samples = doubles_of(volts, "volts");
  if (!(interval_s > 0) || !std::isfinite(interval_s))
    throw Error("interval_s", fmt::format("is {:g}", interval_s), "give seconds, above 0");
  const PulseMeasures m = measure_pulse(samples, interval_s);
  return py::dict("low_state_v"_a = m.low_state_v, "high_state_v"_a = m.high_state_v,
                  "amplitude_v"_a = m.amplitude_v, "polarity"_a = m.polarity,
                  "instant_lower_s"_a = m.instant_lower_s, "instant_middle_s"_a = m.instant_middle_s,
                  "instant_upper_s"_a = m.instant_upper_s,
                  "transition_duration_s"_a = m.transition_duration_s,
                  "second_transition_duration_s"_a = m.second_transition_duration_s,
                  "pulse_duration_s"_a = m.pulse_duration_s, "overshoot_percent"_a = m.overshoot_percent,
                  "slew_v_per_s"_a = m.slew_v_per_s);
}

void bind_conditioned(py::module_& module) {
  py::class_<Conditioned>(module, "Conditioned",
                          "Volts with the baseline taken away and filters applied; numbers a trace are "
                          "arrays of shape (records,) for a block.")
      .def_property_readonly("volts", &volts_of, "float64, (samples,) or (records, samples); a new array.")
      .def_property_readonly("interval_s", [](const Conditioned& c) { return c.traces.front().interval_s; })
      .def_property_readonly(
          "first_sample_s",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.first_sample_s; });
          },
          "Time of the first sample, the filters' delay taken out.")
      .def_property_readonly(
          "baseline_v",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.baseline_v.value; });
          },
          "The level that was taken away.")
      .def_property_readonly(
          "baseline_uncertainty_v",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.baseline_v.uncertainty; });
          },
          "Its standard uncertainty.")
      .def_property_readonly("baseline_slope_v_per_s",
                             [](const Conditioned& c) {
                               return by_trace(
                                   c, [](const ConditionedTrace& t) { return t.baseline_slope_v_per_s; });
                             })
      .def_property_readonly(
          "baseline_rms_v",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.baseline_rms_v; });
          },
          "Standard deviation of the samples around it.")
      .def_property_readonly(
          "flags",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.flags.bits(); });
          },
          "Bits of firstedge.Flag: no_baseline, piled_up, coarse_counts.")
      .def_property_readonly("clipped", &all_clipped,
                             "Runs of clipped samples, shape (runs, 2), first and one past the last; of a "
                             "block a list of these.");
  py::class_<Conditioner>(module, "Conditioner",
                          "Baseline and filters of one channel, made ready once (see firstedge.conditioner).")
      .def(py::init(
               [](double interval_s, const std::string& baseline, const std::vector<std::string>& filters) {
                 return Conditioner(options_of(baseline, filters), interval_s);
               }),
           py::arg("interval_s"), py::arg("baseline"), py::arg("filters"))
      .def_property_readonly("interval_s", &Conditioner::interval_s)
      .def(
          "__call__", &conditioned, py::arg("samples"), py::arg("threads") = 0,
          R"(Conditions a Trace, or volts of shape (samples,) or (records, samples). Samples that are not finite
are bridged and listed as clipped. threads: 0 takes all processors; the numbers do not depend on it.)");
}

}  // namespace

void bind_conditioning(py::module_& module) {
  bind_conditioned(module);
  py::class_<Filter>(module, "Filter", "A filter designed once (see firstedge.filter).")
      .def(py::init([](double interval_s, const std::string& settings) {
             const Settings of_filter = settings_from_json(settings, "filter");
             const FilterOptions options = filter_options(of_filter);
             of_filter.finish();
             return Filter(options, interval_s);
           }),
           py::arg("interval_s"), py::arg("settings"))
      .def_property_readonly("interval_s", &Filter::interval_s)
      .def_property_readonly("delay_s", &Filter::delay_s,
                             "What is to be taken out of the samples' times; 0 for zero phase.")
      .def("gain", &Filter::gain, py::arg("frequency_hz"), "Amplitude gain of the whole operation.")
      .def("__call__", &filtered, py::arg("volts"), py::arg("threads") = 0,
           "Filters volts of shape (samples,) or (records, samples), all finite; a new float64 array of that "
           "shape.");
  module.def(
      "welch", &spectrum_of, py::arg("volts"), py::arg("interval_s"), py::arg("segment") = py::none(),
      R"(One-sided power spectral density by Welch's method (Hann window, half overlap, each segment's mean taken away).

volts: (samples,) or (records, samples), whose spectra are averaged. segment: samples, cut to the trace; None: all of it,
at most 1024. Returns (frequency_hz, density_v2_per_hz), shapes (segment // 2 + 1,). Equal to scipy.signal.welch.
Source: P. D. Welch, IEEE Trans. AU-15 (1967) 70. Raises Error for samples that are not finite.)");
  module.def(
      "measure_pulse", &measures_of, py::arg("volts"), py::arg("interval_s"),
      R"(Measures of a pulse or step by the terms of IEEE Std 181, as a dict; times from the first sample.

volts: float64 of shape (samples,). NaN where the waveform does not have the feature. Reference levels 10 % and 90 %.)");
}

}  // namespace firstedge::python
