#include "firstedge/inspect/inspect.hpp"

#include "firstedge/inspect/channel_look.hpp"
#include "firstedge/inspect/noise_comparison.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <deque>

#include <fmt/format.h>

namespace firstedge {
namespace {

std::string polarity_words(const ChannelLook& look) {
  if (look.pulses() == 0) return "-";
  const double up = look.share_positive();
  if (up > 0.95) return "positive";
  if (up < 0.05) return "negative";
  return fmt::format("both, {:.0f} % positive", 100 * up);
}

Table channels_table(const std::deque<ChannelLook>& looks) {
  Table table{.key = "channels",
              .title = "Channels",
              .note = "Medians over the records looked at.",
              .columns = {{"channel", "Channel", ""},
                          {"traces", "Traces", ""},
                          {"missing", "Missing", ""},
                          {"samples", "Samples", ""},
                          {"interval", "Interval", "s"},
                          {"baseline", "Baseline", "V"},
                          {"baseline_spread", "Its spread", "V"},
                          {"noise", "Noise", "V"},
                          {"lowest", "Lowest", "V"},
                          {"highest", "Highest", "V"},
                          {"range_used", "Range used", "%"},
                          {"clipped", "Traces clipped", "%"}},
              .rows = {}};
  for (const ChannelLook& look : looks) {
    table.rows.push_back(
        {look.channel().name, static_cast<double>(look.traces()), static_cast<double>(look.missing()),
         look.lengths().empty() ? std::nan("") : static_cast<double>(*look.lengths().rbegin()),
         look.channel().interval_s, median(look.baselines_v()), central_half_width(look.baselines_v()),
         look.noise_v().value, look.lowest_v(), look.highest_v(), 100 * look.range_used(),
         100 * look.clipped_trace_share()});
  }
  return table;
}

Table pulses_table(const std::deque<ChannelLook>& looks) {
  Table table{.key = "pulses",
              .title = "Pulses",
              .note =
                  "Medians of heights and transition durations (10 % to 90 %) of the pulses that are not "
                  "clipped. The "
                  "rate is per second of recorded time.",
              .columns = {{"channel", "Channel", ""},
                          {"polarity", "Polarity", ""},
                          {"per_trace", "Pulses a trace", ""},
                          {"rate", "Pulse rate", "Hz"},
                          {"height", "Height", "V"},
                          {"signal_to_noise", "Height over noise", ""},
                          {"transition", "Transition", "s"},
                          {"samples_an_edge", "Samples an edge", ""}},
              .rows = {}};
  for (const ChannelLook& look : looks) {
    const Estimate height_v = look.height_v();
    const double transition_s = median(look.transition_durations_s());
    table.rows.push_back({look.channel().name, polarity_words(look),
                          static_cast<double>(look.pulses()) / static_cast<double>(look.traces()),
                          look.pulse_rate_hz(), height_v, height_v.value / look.channel().noise.rms_v(),
                          transition_s, transition_s / look.channel().interval_s});
  }
  return table;
}

Table lines_table(const std::deque<ChannelLook>& looks) {
  Table table{
      .key = "pick_up",
      .title = "Pick-up lines",
      .note = "Frequencies that stand out of the noise around them. Amplitude: peak value of the sine.",
      .columns = {{"channel", "Channel", ""},
                  {"frequency", "Frequency", "Hz"},
                  {"amplitude", "Amplitude", "V"},
                  {"excess", "Over the noise around", "dB"}},
      .rows = {}};
  for (const ChannelLook& look : looks) {
    const PowerSpectrum spectrum = look.noise_spectrum();
    if (spectrum.frequency_hz.size() < 8) continue;
    for (const PickUpLine& line : find_pick_up_lines(spectrum)) {
      table.rows.push_back({look.channel().name, line.frequency_hz, line.amplitude_v, line.excess_db});
    }
  }
  return table;
}

Plot spectrum_plot(const std::deque<ChannelLook>& looks) {
  Plot plot{.key = "noise_spectrum",
            .title = "Noise before the pulses",
            .caption =
                "One-sided spectral density of the stretches before the first pulse. Look for lines "
                "(pick-up), a fall "
                "at the end of the band, and a rise towards low frequencies.",
            .x = {"Frequency", "Hz", true},
            .y = {"Noise density", "V/√Hz", true},
            .series = {},
            .markers = {}};
  for (const ChannelLook& look : looks) {
    const PowerSpectrum spectrum = look.noise_spectrum();
    Series series{
        .label = look.channel().name, .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
    for (std::size_t i = 1; i < spectrum.frequency_hz.size(); ++i) {
      if (!(spectrum.density_v2_per_hz[i] > 0)) continue;
      series.x.push_back(spectrum.frequency_hz[i]);
      series.y.push_back(std::sqrt(spectrum.density_v2_per_hz[i]));
    }
    if (!series.x.empty()) plot.series.push_back(std::move(series));
  }
  return plot;
}

Plot traces_plot(const std::string& channel) {
  return {
      .key = "traces_" + channel,
      .title = fmt::format("Traces of {}", channel),
      .caption =
          "Traces as they were recorded, spread over the records looked at. Look for pulses that start at "
          "different places, a baseline that wanders, and flat tops at the digitizer's limit.",
      .x = {"Time from the trigger", "s"},
      .y = {"Voltage", "V"},
      .series = {},
      .markers = {}};
}

void add_trace(Plot& plot, const Trace& trace, std::uint64_t record) {
  Series series{.label = fmt::format("record {}", record),
                .kind = Series::Kind::line,
                .x = {},
                .y = volts(trace),
                .y_uncertainty = {},
                .faint = true};
  for (std::size_t i = 0; i < trace.size(); ++i) series.x.push_back(trace.time_s(static_cast<double>(i)));
  plot.series.push_back(std::move(series));
}

void add_doubts(const ChannelLook& look, std::vector<std::string>& warnings) {
  const std::string& name = look.channel().name;
  if (look.traces() == 0) {
    warnings.push_back(fmt::format("{}: no trace in the records looked at", name));
    return;
  }
  if (look.constant())
    warnings.push_back(fmt::format("{}: every sample is the same: dead or not connected", name));
  if (!look.constant() && look.pulses() == 0)
    warnings.push_back(fmt::format("{}: no pulse over the threshold", name));
  if (look.missing() > 0)
    warnings.push_back(fmt::format("{}: missing from {} records", name, look.missing()));
  if (look.clipped_trace_share() > 0.001) {
    warnings.push_back(
        fmt::format("{}: {:.1f} % of the traces are clipped", name, 100 * look.clipped_trace_share()));
  }
  if (look.range_used() < 0.1) {
    warnings.push_back(
        fmt::format("{}: only {:.1f} % of the digitizer's range is used: quantisation may limit the times",
                    name, 100 * look.range_used()));
  }
  if (look.intervals_s().size() > 1) {
    warnings.push_back(
        fmt::format("{}: traces with {} different sample intervals", name, look.intervals_s().size()));
  }
  if (look.lengths().size() > 1) {
    warnings.push_back(fmt::format("{}: traces of {} to {} samples", name, *look.lengths().begin(),
                                   *look.lengths().rbegin()));
  }
  if (central_half_width(look.baselines_v()) > 3 * look.channel().noise.rms_v()) {
    warnings.push_back(
        fmt::format("{}: the baseline moves from record to record by more than the noise", name));
  }
  const double transition_s = median(look.transition_durations_s());
  if (transition_s < 3 * look.channel().interval_s) {
    warnings.push_back(
        fmt::format("{}: edges last {:.1f} sample intervals: too few samples for the best times", name,
                    transition_s / look.channel().interval_s));
  }
}

// Every n-th record's traces are drawn, so that the ones shown are spread over what was looked at.
std::vector<Plot> look_through(RecordReader& reader, const InspectOptions& options,
                               std::deque<ChannelLook>& looks, SharedNoise& shared, std::uint64_t& records) {
  std::vector<Plot> plots;
  for (const ChannelLook& look : looks) plots.push_back(traces_plot(look.channel().name));
  const std::uint64_t expected =
      std::min(reader.description().record_count.value_or(options.most_records), options.most_records);
  const std::uint64_t every =
      std::max<std::uint64_t>(1, expected / std::max<std::size_t>(1, options.traces_shown));
  while (records < options.most_records) {
    const auto wanted = std::min<std::uint64_t>(128, options.most_records - records);
    const RecordBlock block = reader.next_block(static_cast<std::size_t>(wanted));
    if (block.records.empty()) break;
    for (const Record& record : block.records) {
      for (std::size_t c = 0; c < looks.size(); ++c) {
        const Trace& trace = record.traces[c];
        if (trace.empty()) {
          looks[c].add_missing();
          continue;
        }
        looks[c].add(trace);
        if (records % every == 0 && plots[c].series.size() < options.traces_shown)
          add_trace(plots[c], trace, record.index);
      }
      shared.add(record, looks);
      ++records;
    }
  }
  return plots;
}

std::string channel_words(const ChannelLook& look) {
  const std::string& name = look.channel().name;
  if (look.traces() == 0) return name + " has no trace";
  if (look.constant()) return name + " does not move";
  const std::string noise = format_estimate(look.noise_v(), "V");
  if (!std::isfinite(look.height_v().value))
    return fmt::format("{} has no pulse whose height is seen, over noise of {}", name, noise);
  return fmt::format("{} has pulses of typically {} over noise of {}", name,
                     format_estimate(look.height_v(), "V"), noise);
}

// "(10.5 ± 0.3) mV (a) to (282 ± 12) mV (b)": the channels with the least and the most.
std::string range_words(const std::deque<ChannelLook>& looks, Estimate (ChannelLook::*figure)() const) {
  const ChannelLook *least = nullptr, *most = nullptr;
  for (const ChannelLook& look : looks) {
    const double value = (look.*figure)().value;
    if (!std::isfinite(value) || look.constant()) continue;
    if (least == nullptr || value < (least->*figure)().value) least = &look;
    if (most == nullptr || value > (most->*figure)().value) most = &look;
  }
  if (least == nullptr) return "none";
  return fmt::format("{} ({}) to {} ({})", format_estimate((least->*figure)(), "V"), least->channel().name,
                     format_estimate((most->*figure)(), "V"), most->channel().name);
}

std::vector<Figure> figures_of(const std::deque<ChannelLook>& looks) {
  constexpr std::size_t most_shown = 8;
  std::vector<Figure> figures;
  for (std::size_t c = 0; c < std::min(looks.size(), most_shown); ++c) {
    const ChannelLook& look = looks[c];
    const std::string& name = look.channel().name;
    figures.push_back(
        {fmt::format("height_{}", c), fmt::format("Pulse height of {}, median", name), look.height_v(), "V"});
    figures.push_back({fmt::format("noise_{}", c), "Noise of " + name, look.noise_v(), "V"});
  }
  return figures;
}

// Each of a few channels, or how far many of them reach.
std::string channels_words(const std::deque<ChannelLook>& looks) {
  constexpr std::size_t few = 3;
  if (looks.size() > few)
    return fmt::format("{} channels, typical pulses {}, noise {}", looks.size(),
                       range_words(looks, &ChannelLook::height_v), range_words(looks, &ChannelLook::noise_v));
  std::string words;
  for (const ChannelLook& look : looks) words += (words.empty() ? "" : "; ") + channel_words(look);
  return words;
}

}  // namespace

Inspection inspect_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                       const Provenance& provenance, const InspectOptions& options) {
  const std::vector<LearntChannel> channels =
      learn_channels(*open_records(files, setup.input), without_methods(setup), {});
  std::deque<ChannelLook> looks;
  for (const LearntChannel& channel : channels) looks.emplace_back(channel);

  const std::unique_ptr<RecordReader> reader = open_records(files, setup.input);
  std::uint64_t records = 0;
  SharedNoise shared(looks);
  std::vector<Plot> plots = look_through(*reader, options, looks, shared, records);

  const RunDescription& run = reader->description();
  Inspection inspection{.result = {.kind = "inspection",
                                   .title = "What was recorded",
                                   .answer = "",
                                   .figures = {},
                                   .tables = {},
                                   .plots = {},
                                   .warnings = {},
                                   .cautions = {},
                                   .provenance = provenance},
                        .account = reader->account()};
  Result& result = inspection.result;
  const std::string of =
      run.record_count && *run.record_count > records ? fmt::format(" of {}", *run.record_count) : "";
  result.answer =
      fmt::format("{} file{} of format {}, {}{} records looked at: {}.", run.files.size(),
                  run.files.size() == 1 ? "" : "s", run.format, records, of, channels_words(looks));
  result.figures = figures_of(looks);
  result.tables = {channels_table(looks), pulses_table(looks)};
  if (Table lines = lines_table(looks); !lines.rows.empty()) result.tables.push_back(std::move(lines));
  if (Table common = shared.table(looks); !common.rows.empty()) result.tables.push_back(std::move(common));
  result.plots = std::move(plots);
  if (Plot spectrum = spectrum_plot(looks); !spectrum.series.empty())
    result.plots.push_back(std::move(spectrum));
  if (!options.against.empty()) compare_noise(looks, options, setup, result);
  for (const std::string& guess : run.guesses) result.warnings.push_back("guessed: " + guess);
  for (const ChannelLook& look : looks) add_doubts(look, result.warnings);
  for (const Error& problem : inspection.account.problems) result.warnings.emplace_back(problem.what());
  for (const std::string& remark : inspection.account.remarks) result.warnings.push_back(remark);
  return inspection;
}

}  // namespace firstedge
