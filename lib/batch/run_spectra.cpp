#include "firstedge/batch/run_spectra.hpp"

#include "firstedge/batch/learning.hpp"
#include "firstedge/signal/noise_average.hpp"
#include "firstedge/signal/pulse_measures.hpp"

#include <algorithm>
#include <deque>
#include <span>

namespace firstedge {
namespace {

constexpr std::size_t shortest_stretch = 32;
constexpr std::size_t longest_stretch = 1024;
constexpr std::size_t margin = 4;  // samples between the noise stretch and the start of the pulse

// The longest power of two that fits before a pulse as noise and around it as signal, some samples to spare
// for pulses that come later.
std::size_t stretch_for(std::size_t quiet, std::size_t after) {
  constexpr std::size_t spare = 16;
  std::size_t stretch = shortest_stretch;
  const auto fits = [&](std::size_t length) {
    return length + spare <= quiet && 5 * length / 8 + spare <= after;
  };
  while (2 * stretch <= longest_stretch && fits(2 * stretch)) stretch *= 2;
  return stretch;
}

// One channel's spectra on their way.
class SpectraGatherer {
 public:
  explicit SpectraGatherer(const LearntChannel& channel)
      : channel_(channel),
        conditioner_(channel.conditioning, channel.interval_s),
        quiet_(channel.interval_s) {}

  void add(const Trace& trace) {
    if (trace.interval_s != channel_.interval_s) return;
    const ConditionedTrace conditioned = conditioner_(trace);
    const std::vector<Pulse> pulses =
        find_pulses(conditioned, channel_.noise, channel_.load_ohm, channel_.search);
    if (pulses.empty() || pulses.front().flags.has_any(Flag::clipped | Flag::piled_up | Flag::edge_of_record))
      return;
    add_pulse(conditioned, pulses.front());
  }

  ChannelSpectra spectra() const {
    ChannelSpectra spectra{.channel = channel_.name, .signal = {}, .noise = {}, .lines = {}};
    if (!noise_.empty()) spectra.noise = mean_of(noise_);
    if (const PowerSpectrum quiet = quiet_.spectrum(); !quiet.frequency_hz.empty())
      spectra.lines = find_pick_up_lines(quiet);
    if (!signal_.empty()) spectra.signal = mean_of(signal_);
    return spectra;
  }
  Pedestal pedestal() const {
    return {.channel = channel_.name, .height_v = heights_v_, .charge_c = charges_c_};
  }

 private:
  void add_pulse(const ConditionedTrace& trace, const Pulse& pulse) {
    const std::size_t start = pulse.region.first;
    if (start < shortest_stretch + margin) return;
    const std::size_t quiet = start - margin;
    const std::span samples(trace.volts);
    quiet_.add(samples.first(quiet));
    if (stretch_ == 0) stretch_ = stretch_for(quiet, samples.size() - start);
    const std::size_t before = 3 * stretch_ / 8;
    if (quiet < stretch_ || start - before + stretch_ > samples.size()) return;
    const std::span noise = samples.subspan(quiet - stretch_, stretch_);
    noise_.push_back(welch(noise, trace.interval_s, stretch_));
    signal_.push_back(welch(samples.subspan(start - before, stretch_), trace.interval_s, stretch_));

    heights_v_.push_back(pulse.polarity * noise[stretch_ / 2]);
    const std::size_t gate = std::min(pulse.region.size(), stretch_);
    charges_c_.push_back(pulse.polarity * charge_c(noise.last(gate), trace.interval_s, channel_.load_ohm));
  }

  const LearntChannel& channel_;
  Conditioner conditioner_;
  NoiseAverage quiet_;
  std::size_t stretch_ = 0;
  std::vector<PowerSpectrum> signal_, noise_;
  std::vector<double> heights_v_, charges_c_;
};

}  // namespace

RunSpectra spectra_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                          std::uint64_t most_records) {
  const std::vector<LearntChannel> channels =
      learn_channels(*open_records(files, setup.input), without_methods(setup), {});
  std::deque<SpectraGatherer> gatherers;
  for (const LearntChannel& channel : channels) gatherers.emplace_back(channel);

  const std::unique_ptr<RecordReader> reader = open_records(files, setup.input);
  std::uint64_t records = 0;
  while (records < most_records) {
    const RecordBlock block =
        reader->next_block(static_cast<std::size_t>(std::min<std::uint64_t>(128, most_records - records)));
    if (block.records.empty()) break;
    for (const Record& record : block.records) {
      for (std::size_t c = 0; c < gatherers.size(); ++c) {
        if (!record.traces[c].empty()) gatherers[c].add(record.traces[c]);
      }
    }
    records += block.records.size();
  }
  RunSpectra result;
  for (const SpectraGatherer& gatherer : gatherers) {
    result.spectra.push_back(gatherer.spectra());
    result.pedestals.push_back(gatherer.pedestal());
  }
  result.account = reader->account();
  return result;
}

}  // namespace firstedge
