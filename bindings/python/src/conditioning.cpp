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

// What conditioning made of one trace or of a block. The volts of all traces stand in the array.
struct Conditioned {
  std::vector<ConditionedTrace> traces;  // without their volts
  bool block = false;
  py::array volts;
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

Conditioned conditioned(const Conditioner& conditioner, const TraceArray& array, int threads) {
  if (array.traces.empty()) throw Error("samples", "has no records", "give at least one");
  Conditioned made{.traces = {}, .block = array.is_block(), .volts = {}};
  if (!made.block) {
    made.traces.push_back(without_lock([&] { return conditioner(array.first()); }));
    made.volts = given_away(std::move(made.traces.front().volts));
    return made;
  }
  const std::size_t rows = array.traces.size(), length = array.first().size();
  py::array_t<double> all({static_cast<py::ssize_t>(rows), static_cast<py::ssize_t>(length)});
  double* const out = all.mutable_data();
  made.traces.resize(rows);
  without_lock([&] {
    const std::span<const Trace> traces(array.traces);
    const std::size_t at_once = conditioner.traces_at_once();
    for_each_index((rows + at_once - 1) / at_once, threads, [&](std::size_t group) {
      const std::size_t first = group * at_once, count = std::min(at_once, rows - first);
      std::vector<ConditionedTrace> some = conditioner(traces.subspan(first, count));
      for (std::size_t k = 0; k < count; ++k) {
        std::copy(some[k].volts.begin(), some[k].volts.end(), out + (first + k) * length);
        some[k].volts = {};
        made.traces[first + k] = std::move(some[k]);
      }
    });
  });
  made.volts = std::move(all);
  return made;
}

// Filters know finite volts only.
void check_finite(const std::vector<double>& volts) {
  if (!std::all_of(volts.begin(), volts.end(), [](double v) { return std::isfinite(v); }))
    throw Error("volts", "has samples that are not finite", "condition the trace, which bridges them");
}

py::array filtered(const Filter& filter, const py::object& volts, int threads) {
  const TraceArray array = traces_of(volts, {.interval_s = filter.interval_s()}, "volts");
  if (!array.is_block()) {
    return given_away(without_lock([&] {
      const std::vector<double> row = firstedge::volts(array.first());
      check_finite(row);
      return filter(row).volts;
    }));
  }
  constexpr std::size_t at_once = 32;  // recursive filters take several rows side by side
  const auto samples = static_cast<std::size_t>(array.counts.shape(1));
  const std::size_t rows = array.traces.size();
  py::array_t<double> all({array.counts.shape(0), array.counts.shape(1)});
  double* const out = all.mutable_data();
  without_lock([&] {
    for_each_index((rows + at_once - 1) / at_once, threads, [&](std::size_t group) {
      const std::size_t first = group * at_once, last = std::min(first + at_once, rows);
      std::vector<std::vector<double>> some;
      for (std::size_t i = first; i < last; ++i) {
        some.push_back(firstedge::volts(array.traces[i]));
        check_finite(some.back());
      }
      const std::vector<Filtered> filtered_rows = filter(some);
      for (std::size_t i = first; i < last; ++i) {
        const std::vector<double>& row = filtered_rows[i - first].volts;
        std::copy(row.begin(), row.end(), out + i * samples);
      }
    });
  });
  return all;
}

py::tuple spectrum_of(const py::object& volts, double interval_s, std::optional<std::size_t> segment) {
  const TraceArray array = traces_of(volts, {.interval_s = interval_s}, "volts");
  if (array.traces.empty()) throw Error("volts", "has no records", "give at least one");
  const std::size_t samples = segment.value_or(std::min<std::size_t>(array.first().size(), 1024));
  if (samples == 0) throw Error("segment", "is 0 samples", "give at least 1");
  PowerSpectrum spectrum = without_lock([&] {
    std::vector<PowerSpectrum> spectra;
    for (const Trace& trace : array.traces) {
      const std::vector<double> row = firstedge::volts(trace);
      check_finite(row);
      spectra.push_back(welch(row, interval_s, samples));
    }
    return mean_of(spectra);
  });
  return py::make_tuple(given_away(std::move(spectrum.frequency_hz)),
                        given_away(std::move(spectrum.density_v2_per_hz)));
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
  py::class_<Conditioned>(module, "Conditioned", found_soon,
                          "Volts with the baseline taken away and filters applied; numbers a trace are "
                          "arrays of shape (records,) for a block.")
      .def_readonly("volts", &Conditioned::volts,
                    "V, float64, (samples,) or (records, samples); the same array each time.")
      .def_property_readonly(
          "interval_s", [](const Conditioned& c) { return c.traces.front().interval_s; },
          "From sample to sample, s.")
      .def_property_readonly(
          "first_sample_s",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.first_sample_s; });
          },
          "Time of the first sample, s, the filters' delay taken out.")
      .def_property_readonly(
          "baseline_v",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.baseline_v.value; });
          },
          "The level that was taken away, V.")
      .def_property_readonly(
          "baseline_uncertainty_v",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.baseline_v.uncertainty; });
          },
          "Its standard uncertainty, V.")
      .def_property_readonly(
          "baseline_slope_v_per_s",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.baseline_slope_v_per_s; });
          },
          "Slope of the level that was taken away, V/s.")
      .def_property_readonly(
          "baseline_rms_v",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.baseline_rms_v; });
          },
          "Standard deviation of the samples around it, V.")
      .def_property_readonly(
          "flags",
          [](const Conditioned& c) {
            return by_trace(c, [](const ConditionedTrace& t) { return t.flags.bits(); });
          },
          "Bits of firstedge.Flag: no_baseline, piled_up, coarse_counts.")
      .def_property_readonly("clipped", &all_clipped,
                             "Runs of clipped samples, shape (runs, 2), first and one past the last; of a "
                             "block a list of these.");
  py::class_<Conditioner>(module, "Conditioner", found_soon,
                          "Baseline and filters of one channel, made ready once (see firstedge.conditioner).")
      .def(py::init(
               [](double interval_s, const std::string& baseline, const std::vector<std::string>& filters) {
                 return Conditioner(options_of(baseline, filters), interval_s);
               }),
           py::arg("interval_s"), py::arg("baseline"), py::arg("filters"))
      .def_property_readonly("interval_s", &Conditioner::interval_s, "From sample to sample, s.")
      .def(
          "__call__",
          [](const Conditioner& conditioner, const py::object& samples, int threads) {
            return with_traces(samples, conditioner.interval_s(), [&](const TraceArray& array) {
              return conditioned(conditioner, array, threads);
            });
          },
          py::arg("samples"), py::arg("threads") = 0,
          R"(Conditions a Trace, or volts of shape (samples,) or (records, samples). Samples that are not finite
are bridged and listed as clipped. threads: 0 takes all processors; the numbers do not depend on it.)");
}

}  // namespace

void bind_conditioning(py::module_& module) {
  bind_conditioned(module);
  py::class_<Filter>(module, "Filter", found_soon, "A filter designed once (see firstedge.filter).")
      .def(py::init([](double interval_s, const std::string& settings) {
             const Settings of_filter = settings_from_json(settings, "filter");
             const FilterOptions options = filter_options(of_filter);
             of_filter.finish();
             return Filter(options, interval_s);
           }),
           py::arg("interval_s"), py::arg("settings"))
      .def_property_readonly("interval_s", &Filter::interval_s, "From sample to sample, s.")
      .def_property_readonly("delay_s", &Filter::delay_s,
                             "What is to be taken out of the samples' times, s; 0 for zero phase.")
      .def("gain", &Filter::gain, py::arg("frequency_hz"),
           "Amplitude gain of the whole operation at a frequency in Hz.")
      .def("__call__", &filtered, py::arg("volts"), py::arg("threads") = 0,
           "Filters volts of shape (samples,) or (records, samples), all finite; a new float64 array of that "
           "shape.");
  module.def(
      "welch", &spectrum_of, py::arg("volts"), py::arg("interval_s"), py::arg("segment") = py::none(),
      R"(One-sided power spectral density by Welch's method (Hann window, half overlap, each segment's mean taken away).

volts: (samples,) or (records, samples), V, whose spectra are averaged. interval_s: from sample to sample, s. segment:
samples, cut to the trace; None: all of it, at most 1024. Returns (frequency_hz, density_v2_per_hz), shapes (segment // 2 + 1,). Equal to scipy.signal.welch.
Source: P. D. Welch, IEEE Trans. AU-15 (1967) 70. Raises Error for samples that are not finite.)");
  module.def(
      "measure_pulse", &measures_of, py::arg("volts"), py::arg("interval_s"),
      R"(Measures of a pulse or step by the terms of IEEE Std 181, as a dict; times from the first sample.

volts: float64 of shape (samples,), V. interval_s: from sample to sample, s. NaN where the waveform does not have the
feature. Reference levels 10 % and 90 %. Raises Error for other arrays. Source: IEEE Std 181-2011, 5.2.1.)");
}

}  // namespace firstedge::python
