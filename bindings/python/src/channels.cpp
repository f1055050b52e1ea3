// Channels that were learnt, and how they turn traces into stamps.
#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/batch/learning.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/template_file.hpp"
#include "firstedge/signal/noise.hpp"

#include "array_reader.hpp"
#include "arrays.hpp"
#include "parallel.hpp"
#include "records.hpp"
#include "stamp_array.hpp"
#include "traces.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>

#include <fmt/format.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

// A learnt channel with its methods made ready. Methods are numbered as they stand in its own list.
struct Channel {
  Channel(LearntChannel of, std::uint16_t number)
      : learnt(std::move(of)), timer(learnt, number, counted(learnt.timing.size())) {}

  static std::vector<std::uint16_t> counted(std::size_t methods) {
    std::vector<std::uint16_t> numbers(methods);
    std::iota(numbers.begin(), numbers.end(), std::uint16_t{0});
    return numbers;
  }

  LearntChannel learnt;
  ChannelTimer timer;
};
using Channels = std::vector<std::unique_ptr<Channel>>;

py::array stamped(const Channel& channel, const TraceArray& array, int threads) {
  if (array.traces.size() == 1) {
    return stamps_given_away(
        without_lock([&] { return channel.timer.stamps(array.traces.front(), array.records.front()); }));
  }
  return stamps_given_away(without_lock([&] {
    const std::span<const Trace> traces(array.traces);
    const std::span<const std::uint64_t> records(array.records);
    const std::size_t at_once = channel.timer.traces_at_once();
    std::vector<std::vector<std::vector<Stamp>>> of_groups((traces.size() + at_once - 1) / at_once);
    for_each_index(of_groups.size(), threads, [&](std::size_t group) {
      const std::size_t first = group * at_once, count = std::min(at_once, traces.size() - first);
      of_groups[group] = channel.timer.stamps(traces.subspan(first, count), records.subspan(first, count));
    });
    std::vector<Stamp> stamps;
    stamps.reserve(traces.size() * channel.learnt.timing.size());
    for (const auto& of_traces : of_groups)
      for (const auto& some : of_traces) stamps.insert(stamps.end(), some.begin(), some.end());
    return stamps;
  }));
}

Channels ready(std::vector<LearntChannel> learnt) {
  Channels channels;
  for (LearntChannel& one : learnt) {
    const auto number = static_cast<std::uint16_t>(channels.size());
    channels.push_back(std::make_unique<Channel>(std::move(one), number));
  }
  return channels;
}

Channels learnt_from_files(const std::vector<std::filesystem::path>& files, const Setup& setup,
                           const std::vector<PulseTemplate>& templates) {
  return without_lock(
      [&] { return ready(learn_channels(*open_records(files, setup.input), setup, templates)); });
}

Channels learnt_from_traces(const std::vector<std::pair<std::string, TraceArray>>& traces, const Setup& setup,
                            const std::vector<PulseTemplate>& templates) {
  ArrayReader reader(traces);
  return without_lock([&] { return ready(learn_channels(reader, setup, templates)); });
}

// A channel of which all that is needed is known.
std::unique_ptr<Channel> known(const std::string& name, double interval_s, const NoiseModel& noise,
                               const Setup& setup, const std::optional<PulseTemplate>& pulse_template) {
  if (!(interval_s > 0) || !std::isfinite(interval_s))
    throw Error("interval_s", fmt::format("is {:g}", interval_s), "give seconds, above 0");
  const ChannelSetup of = setup.channel(name);
  LearntChannel channel{.name = name,
                        .sensor = of.sensor,
                        .load_ohm = of.load_ohm,
                        .conditioning = conditioning_options(of.baseline, of.filters),
                        .search = search_options(of.search),
                        .timing = of.timing,
                        .interval_s = interval_s,
                        .noise = noise};
  for (const Settings& method : of.timing) {
    if (needs_family(method) || needs_walk(method) || (needs_template(method) && !pulse_template))
      throw Error("methods", fmt::format("'{}' needs what was not given", method.text("method", "")),
                  "give a template, or learn the channel from records");
  }
  if (pulse_template) channel.pulse_template = std::make_shared<const PulseTemplate>(*pulse_template);
  return std::make_unique<Channel>(std::move(channel), std::uint16_t{0});
}

NoiseModel noise_made(double rms_v, double interval_s) {
  if (!(rms_v >= 0) || !std::isfinite(rms_v))
    throw Error("rms_v", fmt::format("is {:g}", rms_v), "give volts, 0 or more");
  if (!(interval_s > 0) || !std::isfinite(interval_s))
    throw Error("interval_s", fmt::format("is {:g}", interval_s), "give seconds, above 0");
  return white_noise(rms_v, interval_s);
}

NoiseModel noise_learnt(const py::object& volts, double interval_s, std::size_t lags, double step_v) {
  const TraceArray array = traces_of(volts, {.interval_s = interval_s}, "volts");
  return without_lock([&] {
    NoiseAccumulator sums(interval_s, lags, step_v);
    for (const Trace& trace : array.traces) sums.add(firstedge::volts(trace));
    return sums.model();
  });
}

PulseTemplate template_made(const std::string& channel, const py::object& shape, double interval_s,
                            double first_s, double reference_fraction) {
  const std::span<const double> points = doubles_of(shape, "shape");
  return {.channel = channel,
          .interval_s = interval_s,
          .first_s = first_s,
          .reference_fraction = reference_fraction,
          .shape = {points.begin(), points.end()},
          .shape_uncertainty = std::vector<double>(points.size(), 0.0),
          .pulses_used = 0};
}

void bind_what_is_learnt(py::module_& module) {
  py::class_<NoiseModel>(module, "NoiseModel",
                         "Stationary noise of a channel at its sample interval, after its filters.")
      .def(py::init(&noise_made), py::arg("rms_v"), py::arg("interval_s"),
           "White noise of this standard deviation.")
      .def_static(
          "learn", &noise_learnt, py::arg("volts"), py::arg("interval_s"), py::arg("lags") = 64,
          py::arg("step_v") = 0.0,
          R"(From stretches without pulses: volts of shape (samples,) or (records, samples). lags: the longest autocovariance
wanted, samples. step_v: one count in volts. Rows with a sample that is not finite are left out.)")
      .def_readonly("interval_s", &NoiseModel::interval_s, "From sample to sample, s.")
      .def_readonly("samples_used", &NoiseModel::samples_used, "0 when it was given.")
      .def_property_readonly("rms_v", &NoiseModel::rms_v, "Standard deviation of a sample, V.")
      .def_property_readonly(
          "autocovariance_v2",
          [](const NoiseModel& noise) { return copied(std::span<const double>(noise.autocovariance_v2)); },
          "Of samples k apart, V^2, shape (lags,).")
      .def(
          "density_v2_per_hz",
          [](const NoiseModel& noise, const py::object& frequency) {
            return given_away(model_density(noise, doubles_of(frequency, "frequency_hz")));
          },
          py::arg("frequency_hz"),
          "One-sided power spectral density, V^2/Hz, at these frequencies, Hz; same shape.");
  py::class_<PulseTemplate>(module, "PulseTemplate",
                            "The mean shape of a channel's pulses, peak 1, on a grid finer than the sample "
                            "interval; time zero is where its edge crosses reference_fraction.")
      .def(py::init(&template_made), py::arg("channel"), py::arg("shape"), py::arg("interval_s"),
           py::arg("first_s"), py::arg("reference_fraction") = 0.5)
      .def_readonly("channel", &PulseTemplate::channel, "The channel's name.")
      .def_readonly("interval_s", &PulseTemplate::interval_s, "From point to point, s.")
      .def_readonly("first_s", &PulseTemplate::first_s, "Time of the first point, s.")
      .def_readonly("reference_fraction", &PulseTemplate::reference_fraction,
                    "Of the height: where the edge crosses it is time zero.")
      .def_readonly("pulses_used", &PulseTemplate::pulses_used, "0 when it was given.")
      .def_property_readonly(
          "shape", [](const PulseTemplate& t) { return copied(std::span<const double>(t.shape)); },
          "float64 of shape (points,), peak 1.")
      .def_property_readonly(
          "shape_uncertainty",
          [](const PulseTemplate& t) { return copied(std::span<const double>(t.shape_uncertainty)); },
          "Standard uncertainty of each point.");
  module.def("read_templates", &read_templates, py::arg("file"),
             R"(All templates of a file, a list of PulseTemplate (times in s, shapes without unit).

file: as write_templates or firstedge-stamp wrote it. Raises Error for what is no template file. Source:
docs/file-layouts.md.)");
  module.def("write_templates", &write_templates, py::arg("file"), py::arg("templates"),
             R"(Writes templates into one file, whole or not at all (times in s, shapes without unit).

file: HDF5. templates: of different channels. Raises Error where it cannot be written. Source: docs/file-layouts.md.)");
}

std::vector<std::string> methods_of(const Channel& channel) {
  std::vector<std::string> words;
  for (const TimingMethod& method : channel.timer.methods())
    words.push_back(method.settings.empty() ? method.name : method.name + ", " + method.settings);
  return words;
}

}  // namespace

void bind_channels(py::module_& module) {
  bind_what_is_learnt(module);
  py::class_<Channel>(
      module, "Channel", found_soon,
      R"(One channel with its noise, template and methods made ready: turns traces into stamps.

Made by firstedge.learn, or by firstedge.channel where noise and template are known. Safe to use from many threads.)")
      .def_static("known", &known, py::arg("name"), py::arg("interval_s"), py::arg("noise"), py::arg("setup"),
                  py::arg("template"), "See firstedge.channel.")
      .def_property_readonly(
          "name", [](const Channel& channel) { return channel.learnt.name; },
          "As the run or the caller has it.")
      .def_property_readonly(
          "sensor", [](const Channel& channel) { return channel.learnt.sensor; },
          "What the Setup says of it.")
      .def_property_readonly(
          "interval_s", [](const Channel& channel) { return channel.learnt.interval_s; },
          "From sample to sample, s.")
      .def_property_readonly(
          "load_ohm", [](const Channel& channel) { return channel.learnt.load_ohm; },
          "What charges are reckoned with, ohm.")
      .def_property_readonly(
          "noise", [](const Channel& channel) { return channel.learnt.noise; },
          "Its NoiseModel, V after the filters.")
      .def_property_readonly(
          "template",
          [](const Channel& channel) {
            return channel.learnt.pulse_template ? std::optional(*channel.learnt.pulse_template)
                                                 : std::nullopt;
          },
          "Its PulseTemplate, or None.")
      .def_property_readonly(
          "template_remark", [](const Channel& channel) { return channel.learnt.template_remark; },
          "Where the template came from, or why there is none.")
      .def_property_readonly(
          "records_learnt_from", [](const Channel& channel) { return channel.learnt.records_learnt_from; },
          "0 where nothing was learnt.")
      .def_property_readonly(
          "pulses_learnt_from", [](const Channel& channel) { return channel.learnt.pulses_learnt_from; },
          "0 where nothing was learnt.")
      .def_property_readonly("methods", &methods_of,
                             "What Stamp field 'method' counts: names with their settings.")
      .def(
          "stamp",
          [](const Channel& channel, const py::object& samples, int threads) {
            if (!py::isinstance<py::array>(samples) && py::isinstance<Block>(samples))
              return stamped(channel, block_of_channel(samples.cast<const Block&>(), channel.learnt.name),
                             threads);
            return with_traces(samples, channel.learnt.interval_s,
                               [&](const TraceArray& array) { return stamped(channel, array, threads); });
          },
          py::arg("samples"), py::arg("threads") = 0,
          R"(Finds the pulses and stamps them by every method; a structured array of firstedge.STAMP, one element a pulse and
method, in the order of records, pulses and methods.

samples: a Trace, a Block (its traces of this channel), or an array of volts of shape (samples,) or (records, samples)
whose first sample is at 0 s, at the channel's interval_s. A pulse that cannot be timed has the time NaN and the flag
not_timed. Same bits as firstedge-stamp, for any number of threads; 0 takes all processors.)");
  module.def("learn_from_files", &learnt_from_files, py::arg("files"), py::arg("setup"),
             py::arg("templates"));
  module.def("learn_from_traces", &learnt_from_traces, py::arg("traces"), py::arg("setup"),
             py::arg("templates"));
}

}  // namespace firstedge::python
