#include "firstedge/inspect/noise_comparison.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_channels = 8;
constexpr std::size_t most_records = 500;

std::deque<ChannelLook> looks_at(RecordReader& reader, const std::vector<LearntChannel>& channels,
                                 std::uint64_t records_wanted) {
  std::deque<ChannelLook> looks;
  for (const LearntChannel& channel : channels) looks.emplace_back(channel);
  std::uint64_t records = 0;
  while (records < records_wanted) {
    const auto wanted = std::min<std::uint64_t>(128, records_wanted - records);
    const RecordBlock block = reader.next_block(static_cast<std::size_t>(wanted));
    if (block.records.empty()) break;
    for (const Record& record : block.records) {
      for (std::size_t c = 0; c < looks.size(); ++c) {
        if (!record.traces[c].empty()) looks[c].add(record.traces[c]);
      }
    }
    records += block.records.size();
  }
  return looks;
}

// Density at a frequency, from the nearest bin.
double density_at(const PowerSpectrum& spectrum, double frequency_hz) {
  if (spectrum.frequency_hz.size() < 2) return std::nan("");
  const double last = static_cast<double>(spectrum.frequency_hz.size() - 1);
  const double position = std::clamp(std::round(frequency_hz / spectrum.frequency_hz[1]), 0.0, last);
  return spectrum.density_v2_per_hz[static_cast<std::size_t>(position)];
}

void add_lines(const std::string& channel, const PowerSpectrum& here, const PowerSpectrum& there,
               Table& table) {
  std::vector<PickUpLine> lines = find_pick_up_lines(here);
  for (const PickUpLine& line : find_pick_up_lines(there)) {
    const bool known = std::any_of(lines.begin(), lines.end(), [&](const PickUpLine& other) {
      return std::abs(other.frequency_hz.value - line.frequency_hz.value) <= there.frequency_hz[1];
    });
    if (!known) lines.push_back(line);
  }
  for (const PickUpLine& line : lines) {
    const double a = density_at(here, line.frequency_hz.value);
    const double b = density_at(there, line.frequency_hz.value);
    table.rows.push_back({channel, line.frequency_hz, std::sqrt(a), std::sqrt(b), 10 * std::log10(a / b)});
  }
}

Series ratio_of(const std::string& channel, const PowerSpectrum& here, const PowerSpectrum& there) {
  Series series{.label = channel, .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  for (std::size_t k = 1; k < here.frequency_hz.size(); ++k) {
    const double ratio = here.density_v2_per_hz[k] / density_at(there, here.frequency_hz[k]);
    if (!std::isfinite(ratio) || ratio <= 0) continue;
    series.x.push_back(here.frequency_hz[k]);
    series.y.push_back(10 * std::log10(ratio));
  }
  return series;
}

Table levels_table() {
  return {.key = "against",
          .title = "Noise of this run and the other",
          .note = "Standard deviation of a sample before the pulses; the ratio is this run over the other.",
          .columns = {{"channel", "Channel", ""},
                      {"noise", "This run", "V"},
                      {"other", "Other run", "V"},
                      {"ratio", "Ratio", "dB"}},
          .rows = {}};
}

Table lines_table() {
  return {.key = "against_lines",
          .title = "Lines of this run and the other",
          .note = "Noise density at the lines that either run has; the ratio is this run over the other.",
          .columns = {{"channel", "Channel", ""},
                      {"frequency", "Frequency", "Hz"},
                      {"density", "This run", "V/√Hz"},
                      {"other", "Other run", "V/√Hz"},
                      {"ratio", "Ratio", "dB"}},
          .rows = {}};
}

Plot ratio_plot() {
  return {.key = "against",
          .title = "Noise of this run over the other",
          .caption =
              "Ratio of the spectral densities. Look for lines that only one run has, and for a band in "
              "which one is noisier.",
          .x = {"Frequency", "Hz", true},
          .y = {"Ratio of densities", "dB"},
          .series = {},
          .markers = {}};
}

}  // namespace

SharedNoise::SharedNoise(const std::deque<ChannelLook>& looks) {
  const std::size_t channels = std::min(looks.size(), most_channels);
  for (std::size_t a = 0; a < channels; ++a) {
    for (std::size_t b = a + 1; b < channels; ++b) {
      if (looks[a].channel().interval_s == looks[b].channel().interval_s)
        pairs_.push_back({a, b, CoherenceAverage(looks[a].channel().interval_s)});
    }
  }
}

void SharedNoise::add(const Record& record, const std::deque<ChannelLook>& looks) {
  if (records_ >= most_records) return;
  ++records_;
  for (Pair& pair : pairs_) {
    const Trace& a = record.traces[pair.first];
    const Trace& b = record.traces[pair.second];
    // Stretches begin with the record: they were taken at the same time only if the traces begin together.
    if (a.empty() || b.empty() || a.first_sample_s != b.first_sample_s) continue;
    const std::span first = looks[pair.first].last_quiet_v();
    const std::span second = looks[pair.second].last_quiet_v();
    const std::size_t size = std::min(first.size(), second.size());
    pair.average.add(first.first(size), second.first(size));
  }
}

Table SharedNoise::table(const std::deque<ChannelLook>& looks) const {
  Table table{.key = "common",
              .title = "Pick-up lines that channels share",
              .note =
                  "Coherence: 1 when both channels see one source. A line that is coherent can be taken away "
                  "with the Setup's baseline, \"remove_lines\".",
              .columns = {{"first", "Channel", ""},
                          {"second", "and", ""},
                          {"frequency", "Frequency", "Hz"},
                          {"coherence", "Coherence", ""},
                          {"chance", "By chance below", ""}},
              .rows = {}};
  for (const Pair& pair : pairs_) {
    const Coherence found = pair.average.coherence();
    if (found.segments < 2) continue;
    for (const PickUpLine& line :
         common_lines(looks[pair.first].noise_spectrum(), looks[pair.second].noise_spectrum(), found)) {
      table.rows.push_back({looks[pair.first].channel().name, looks[pair.second].channel().name,
                            line.frequency_hz, coherence_at(found, line.frequency_hz.value),
                            found.chance_level});
    }
  }
  return table;
}

void compare_noise(const std::deque<ChannelLook>& looks, const InspectOptions& options, const Setup& setup,
                   Result& result) {
  const std::vector<LearntChannel> channels =
      learn_channels(*open_records(options.against, setup.input), without_methods(setup), {});
  const std::unique_ptr<RecordReader> reader = open_records(options.against, setup.input);
  const std::deque<ChannelLook> others = looks_at(*reader, channels, options.most_records);
  Table levels = levels_table(), lines = lines_table();
  Plot plot = ratio_plot();
  for (const ChannelLook& look : looks) {
    const std::string& name = look.channel().name;
    const auto other = std::find_if(others.begin(), others.end(), [&](const ChannelLook& candidate) {
      return candidate.channel().name == name;
    });
    if (other == others.end()) {
      result.warnings.push_back(fmt::format("{}: is not in the other run", name));
      continue;
    }
    const double here_v = look.channel().noise.rms_v();
    const double there_v = other->channel().noise.rms_v();
    levels.rows.push_back({name, here_v, there_v, 20 * std::log10(here_v / there_v)});
    const PowerSpectrum here = look.noise_spectrum(), there = other->noise_spectrum();
    if (here.frequency_hz.size() < 2 || there.frequency_hz.size() < 2) continue;
    add_lines(name, here, there, lines);
    plot.series.push_back(ratio_of(name, here, there));
  }
  for (const Error& problem : reader->account().problems) result.warnings.emplace_back(problem.what());
  result.tables.push_back(std::move(levels));
  if (!lines.rows.empty()) result.tables.push_back(std::move(lines));
  if (!plot.series.empty()) result.plots.push_back(std::move(plot));
}

}  // namespace firstedge
