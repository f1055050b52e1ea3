#include "firstedge/simulate/simulation.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <random>

#include <boost/random/normal_distribution.hpp>
#include <boost/random/poisson_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

namespace firstedge {
namespace {

using Engine = std::mt19937_64;

double even(Engine& engine, double low, double high) {
  return low + (high - low) * boost::random::uniform_01<double>()(engine);
}

// GSL's Landau variates drawn from our engine.
double landau_variate(Engine& engine) {
  static const gsl_rng_type type = {
      "engine of the record",
      0xffffffffUL,
      0,
      0,
      [](void*, unsigned long) {},
      [](void* state) { return static_cast<unsigned long>((*static_cast<Engine*>(state))() >> 32U); },
      [](void* state) { return boost::random::uniform_01<double>()(*static_cast<Engine*>(state)); }};
  const gsl_rng source{&type, &engine};
  return gsl_ran_landau(&source);
}

// Mode of the Landau density in the form of Koelbig & Schorr, CPC 31 (1984) 97.
constexpr double landau_mode = -0.222782981256;

double draw_height(const HeightPlan& plan, Engine& engine) {
  switch (plan.kind) {
    case HeightPlan::Kind::fixed:
      return plan.height_v;
    case HeightPlan::Kind::uniform:
      return even(engine, plan.height_v, plan.highest_v);
    case HeightPlan::Kind::landau:
      return std::max(0.0, plan.height_v + plan.width_v * (landau_variate(engine) - landau_mode));
  }
  return plan.height_v;
}

// One pulse as it will stand in the trace: passage with all delays, and height.
struct PlannedPulse {
  double passage_s = 0;
  double height_v = 0;
};

std::vector<PlannedPulse> plan_pulses(const SimulationPlan& plan, const ChannelPlan& channel,
                                      double passage_s, Engine& engine) {
  std::vector<PlannedPulse> pulses;
  const double spread = channel.intrinsic_spread_s * boost::random::normal_distribution<>()(engine);
  const double height = draw_height(channel.heights, engine);
  if (even(engine, 0, 1) < channel.efficiency)
    pulses.push_back({passage_s + channel.delay_s + spread, height});
  if (channel.second_pulse_rate_hz > 0) {
    const double length_s = static_cast<double>(plan.samples) * plan.interval_s;
    const int more = boost::random::poisson_distribution<>(channel.second_pulse_rate_hz * length_s)(engine);
    for (int i = 0; i < more; ++i) {
      const double at = even(engine, plan.first_sample_s, plan.first_sample_s + length_s);
      pulses.push_back({at, draw_height(channel.heights, engine)});
    }
  }
  std::sort(pulses.begin(), pulses.end(),
            [](const PlannedPulse& a, const PlannedPulse& b) { return a.passage_s < b.passage_s; });
  return pulses;
}

// Rounds to the nearest count and stops at the limits, as a digitizer does.
template <typename Sample>
void digitize(const std::vector<double>& volts, const DigitizerPlan& plan, double step_v, double lowest,
              double highest, Sample* counts) {
  for (std::size_t i = 0; i < volts.size(); ++i) {
    const double count = std::nearbyint((volts[i] - plan.offset_v) / step_v);
    counts[i] = static_cast<Sample>(std::clamp(count, lowest, highest));
  }
}

// The counts of one channel over a block, in the digitizer's sample type, and the traces that look into them.
class ChannelBuffer {
 public:
  ChannelBuffer(const SimulationPlan& plan, const DigitizerPlan& digitizer, std::size_t records)
      : plan_(plan),
        digitizer_(digitizer),
        step_v_(digitizer.full_scale_v / std::exp2(digitizer.bits)),
        lowest_(-std::exp2(digitizer.bits - 1)),
        highest_(std::exp2(digitizer.bits - 1) - 1) {
    const std::size_t size = records * plan.samples;
    if (digitizer.bits == 0) {
      exact_ = std::make_shared<std::vector<double>>(size);
    } else if (digitizer.bits <= 8) {
      narrow_ = std::make_shared<std::vector<std::int8_t>>(size);
    } else {
      wide_ = std::make_shared<std::vector<std::int16_t>>(size);
    }
  }

  Trace put(std::size_t position, const std::vector<double>& volts) {
    Trace trace{.counts = {}, .interval_s = plan_.interval_s, .first_sample_s = plan_.first_sample_s};
    const std::size_t at = position * plan_.samples;
    if (exact_) {
      std::copy(volts.begin(), volts.end(), exact_->begin() + static_cast<std::ptrdiff_t>(at));
      trace.counts = std::span<const double>(exact_->data() + at, volts.size());
      return trace;
    }
    trace.volts_per_count = step_v_;
    trace.offset_v = digitizer_.offset_v;
    trace.lowest_count = lowest_;
    trace.highest_count = highest_;
    if (narrow_) {
      digitize(volts, digitizer_, step_v_, lowest_, highest_, narrow_->data() + at);
      trace.counts = std::span<const std::int8_t>(narrow_->data() + at, volts.size());
    } else {
      digitize(volts, digitizer_, step_v_, lowest_, highest_, wide_->data() + at);
      trace.counts = std::span<const std::int16_t>(wide_->data() + at, volts.size());
    }
    return trace;
  }

  std::shared_ptr<const void> storage() const {
    if (exact_) return exact_;
    if (narrow_) return narrow_;
    return wide_;
  }

 private:
  const SimulationPlan& plan_;
  const DigitizerPlan& digitizer_;
  double step_v_, lowest_, highest_;
  std::shared_ptr<std::vector<double>> exact_;
  std::shared_ptr<std::vector<std::int8_t>> narrow_;
  std::shared_ptr<std::vector<std::int16_t>> wide_;
};

// The instants at which the samples of one trace are taken: in their places but for the offsets, if any.
std::vector<double> sample_instants(const SimulationPlan& plan, std::span<const double> offsets_s) {
  std::vector<double> times_s(plan.samples);
  for (std::size_t i = 0; i < times_s.size(); ++i) {
    times_s[i] = plan.first_sample_s + static_cast<double>(i) * plan.interval_s;
    if (!offsets_s.empty()) times_s[i] += offsets_s[i];
  }
  return times_s;
}

// Stretches without pulses cost nothing: only the samples under the shape are looked at. It is 0 for ten
// standard deviations of the band before its edge, so that jitter brings no other sample under it.
void add_pulse(std::vector<double>& volts, std::span<const double> times_s, const SimulationPlan& plan,
               const ChainShape& shape, const PlannedPulse& pulse, int polarity) {
  const auto sample_at = [&](double time_s) { return (time_s - plan.first_sample_s) / plan.interval_s; };
  const double last = static_cast<double>(volts.size());
  const double first_sample = std::clamp(std::ceil(sample_at(pulse.passage_s + shape.first_s())), 0.0, last);
  const double last_sample = std::clamp(std::ceil(sample_at(pulse.passage_s + shape.last_s())), 0.0, last);
  for (auto i = static_cast<std::size_t>(first_sample); i < static_cast<std::size_t>(last_sample); ++i) {
    volts[i] += polarity * pulse.height_v * shape(times_s[i] - pulse.passage_s);
  }
}

void add_pick_up(std::vector<double>& volts, std::span<const double> times_s, const PickUpPlan& line,
                 double phase) {
  for (std::size_t i = 0; i < volts.size(); ++i)
    volts[i] += line.amplitude_v * std::sin(2 * std::numbers::pi * line.frequency_hz * times_s[i] + phase);
}

// `more`: for the engines of a record beside its own.
Engine engine_of(std::uint64_t seed, std::uint64_t record, const std::vector<std::uint32_t>& more = {}) {
  const auto low = [](std::uint64_t value) { return static_cast<std::uint32_t>(value); };
  const auto high = [](std::uint64_t value) { return static_cast<std::uint32_t>(value >> 32U); };
  std::vector<std::uint32_t> words{low(seed), high(seed), low(record), high(record)};
  words.insert(words.end(), more.begin(), more.end());
  std::seed_seq sequence(words.begin(), words.end());
  return Engine(sequence);
}

// Of the samples of one trace, from their places; empty without jitter. From an engine of its own, so that a
// run with jitter is the same run in all else.
std::vector<double> sampling_offsets_s(const SimulationPlan& plan, std::uint64_t record,
                                       std::size_t channel) {
  const double jitter_s = plan.channels[channel].digitizer.sampling_jitter_s;
  if (jitter_s == 0) return {};
  Engine engine = engine_of(plan.seed, record, {static_cast<std::uint32_t>(channel)});
  boost::random::normal_distribution<> normal(0, jitter_s);
  std::vector<double> offsets_s(plan.samples);
  for (double& offset_s : offsets_s) offset_s = normal(engine);
  return offsets_s;
}

}  // namespace

Simulation::Simulation(const SimulationPlan& plan) : plan_(plan) {
  for (const ChannelPlan& channel : plan.channels) {
    ChainShape shape(channel.shape, plan.interval_s);
    const double reference_s = shape.crossing_s(0.5);
    channels_.push_back({std::move(shape),
                         NoiseSource(channel.noise, channel.shape.band_hz, plan.samples, plan.interval_s),
                         reference_s});
  }
}

SimulatedBlock Simulation::records(std::uint64_t first, std::size_t count) const {
  SimulatedBlock result;
  std::vector<ChannelBuffer> buffers;
  std::size_t most_lines = 0;
  for (const ChannelPlan& channel : plan_.channels) {
    buffers.emplace_back(plan_, channel.digitizer, count);
    most_lines = std::max(most_lines, channel.noise.pick_up.size());
  }
  for (std::size_t position = 0; position < count; ++position) {
    Record record{.index = first + position, .file = 0, .trigger = std::nullopt, .traces = {}};
    Engine engine = engine_of(plan_.seed, record.index);
    const double wait = even(engine, 0, 1);
    if (plan_.start) {
      record.trigger =
          advanced(*plan_.start, (static_cast<double>(record.index) + wait) / plan_.trigger_rate_hz);
    }
    const double passage_s = even(engine, plan_.passage_s.first, plan_.passage_s.second);
    std::vector<double> phases(most_lines);
    for (double& phase : phases) phase = even(engine, 0, 2 * std::numbers::pi);

    for (std::size_t c = 0; c < channels_.size(); ++c) {
      const ChannelPlan& plan = plan_.channels[c];
      const std::vector<PlannedPulse> pulses = plan_pulses(plan_, plan, passage_s, engine);
      const double level =
          plan.baseline_v + plan.baseline_spread_v * boost::random::normal_distribution<>()(engine);
      const std::vector<double> offsets_s = sampling_offsets_s(plan_, record.index, c);
      const std::vector<double> times_s = sample_instants(plan_, offsets_s);
      std::vector<double> volts =
          offsets_s.empty() ? channels_[c].noise.draw(engine) : channels_[c].noise.draw_at(engine, offsets_s);
      for (double& value : volts) value += level;
      for (std::size_t i = 0; i < plan.noise.pick_up.size(); ++i) {
        add_pick_up(volts, times_s, plan.noise.pick_up[i], phases[i]);
      }
      for (const PlannedPulse& pulse : pulses)
        add_pulse(volts, times_s, plan_, channels_[c].shape, pulse, plan.polarity);
      record.traces.push_back(buffers[c].put(position, volts));

      const bool clipped = !clipped_ranges(record.traces.back()).empty();
      const double first_s = plan_.first_sample_s;
      const double last_s = first_s + static_cast<double>(plan_.samples - 1) * plan_.interval_s;
      std::uint16_t number = 0;
      for (std::size_t i = 0; i < pulses.size(); ++i) {
        const double time_s = pulses[i].passage_s + channels_[c].reference_s;
        if (time_s < first_s || time_s > last_s) continue;
        Stamp truth;
        truth.record = record.index;
        truth.channel = static_cast<std::uint16_t>(c);
        truth.pulse = number++;
        truth.polarity = static_cast<std::int16_t>(plan.polarity);
        truth.time_s = time_s;
        truth.uncertainty_s = 0;
        truth.height_v = pulses[i].height_v * channels_[c].shape.peak();
        truth.baseline_v = level;
        if (clipped) truth.flags |= Flag::clipped;
        const double overlap_s = 5 * plan.shape.decay_s;
        const bool after_another = i > 0 && pulses[i].passage_s - pulses[i - 1].passage_s < overlap_s;
        const bool before_another =
            i + 1 < pulses.size() && pulses[i + 1].passage_s - pulses[i].passage_s < overlap_s;
        if (after_another || before_another) truth.flags |= Flag::piled_up;
        result.truth.push_back(truth);
      }
    }
    result.block.records.push_back(std::move(record));
  }
  for (const ChannelBuffer& buffer : buffers) result.block.storage.push_back(buffer.storage());
  return result;
}

}  // namespace firstedge
