#include "firstedge/batch/compare_run.hpp"

#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/batch/run_spectra.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <limits>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <tbb/global_control.h>
#include <tbb/info.h>
#include <tbb/parallel_for.h>

namespace firstedge {
namespace {

using Files = std::vector<std::filesystem::path>;

// What the relative settings are relative to.
struct ChannelScale {
  double median_height_v = 0, transition_s = 0;
  double band_hz() const { return 0.35 / transition_s; }  // single pole: 0.3497 (derived), Gaussian: 0.3396
};

// The channels that are compared, by their position in the run.
struct Pair {
  std::size_t first = 0, second = 0;
  std::array<std::size_t, 2> both() const { return {first, second}; }
};

Settings setting_group(const std::string& method) {
  Settings settings("candidate");
  settings.set("method", method);
  return settings;
}

Settings settings_of(const Candidate& candidate, const ChannelScale& scale) {
  Settings settings = setting_group(candidate.method);
  if (!candidate.walk.empty()) settings.set("walk", candidate.walk);
  if (!std::isnan(candidate.fraction)) settings.set("fraction", candidate.fraction);
  if (!std::isnan(candidate.threshold))
    settings.set("threshold", candidate.threshold * scale.median_height_v);
  if (!std::isnan(candidate.delay)) settings.set("delay", candidate.delay * scale.transition_s);
  return settings;
}

std::vector<Candidate> unfiltered(const CandidatePlan& plan) {
  std::vector<Candidate> candidates;
  for (const double share : plan.thresholds)
    candidates.push_back({.method = "leading_edge", .threshold = share});
  for (const std::string& walk : plan.walks) {
    for (const double share : plan.thresholds)
      candidates.push_back({.method = "leading_edge", .walk = walk, .threshold = share});
  }
  for (const double fraction : plan.fractions)
    candidates.push_back({.method = "constant_fraction", .fraction = fraction});
  for (const double fraction : plan.delayed_fractions) {
    for (const double delay : plan.delays)
      candidates.push_back({.method = "delayed_fraction", .fraction = fraction, .delay = delay});
  }
  if (plan.template_fit) candidates.push_back({.method = "template_fit"});
  if (plan.template_family) candidates.push_back({.method = "template_family"});
  return candidates;
}

// The Setup of every channel of the run with the methods of a set of candidates, and a low-pass after the
// filters of those that have a corner.
Setup setup_of_set(const Setup& setup, const std::vector<std::string>& names,
                   const std::vector<double>& corner_hz, const std::vector<std::vector<Settings>>& methods) {
  constexpr std::size_t enough_records = 500;  // adds 1/500 to the variance of a time: 0.1 % to its spread
  Setup of_set = without_methods(setup);
  of_set.channels.clear();
  for (std::size_t c = 0; c < names.size(); ++c) {
    ChannelSetup channel = without_methods(setup).channel(names[c]);
    channel.timing = methods[c];
    if (std::isfinite(corner_hz[c])) {
      Settings filter("candidate");
      filter.set("kind", "bessel");
      filter.set("cut", corner_hz[c]);
      channel.filters.push_back(filter);
      of_set.learning_records = std::min(of_set.learning_records, enough_records);
    }
    of_set.channels.push_back(std::move(channel));
  }
  return of_set;
}

std::size_t position_of(const std::vector<std::string>& names, const std::string& name) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found == names.end())
    throw Error(fmt::format("channel '{}'", name), "is not in the run",
                fmt::format("the run has {}", fmt::join(names, ", ")));
  return static_cast<std::size_t>(found - names.begin());
}

Pair pair_of(const std::vector<std::string>& names, const CompareRunOptions& options) {
  if (names.size() < 2)
    throw Error("comparison", "the run has one channel", "record a second channel to compare it with");
  if (options.bare.has_value() != options.amplified.has_value())
    throw Error("comparison", "only one of bare and amplified is named", "name both, or none");
  std::string first = options.first, second = options.second;
  if (options.bare && first.empty()) {
    first = *options.bare;
    second = *options.amplified;
  }
  if (first.empty()) return {0, 1};
  if (options.bare && std::set{first, second} != std::set{*options.bare, *options.amplified})
    throw Error("comparison", "bare and amplified are not the pair compared", "name the same two channels");
  return {position_of(names, first), position_of(names, second)};
}

// Median height and transition duration over the first records.
ChannelScale scale_of(LearntChannel channel, RecordReader& reader, std::size_t position) {
  constexpr std::size_t enough = 512;
  channel.timing = {setting_group("constant_fraction")};
  channel.pulse_template = nullptr;
  const ChannelTimer timer(channel, 0, {0});
  std::vector<double> heights, transitions;
  for (RecordBlock block = reader.next_block(64); !block.records.empty() && heights.size() < enough;
       block = reader.next_block(64)) {
    for (const Record& record : block.records) {
      const std::vector<Stamp> stamps = timer.stamps(record.traces[position], record.index);
      if (stamps.empty() || !std::isfinite(stamps.front().height_v)) continue;
      heights.push_back(stamps.front().height_v);
      if (std::isfinite(stamps.front().transition_duration_s))
        transitions.push_back(stamps.front().transition_duration_s);
    }
  }
  if (heights.empty() || transitions.empty())
    throw Error(fmt::format("channel '{}'", channel.name),
                "has no pulse with a whole edge in its first records",
                "lower the search threshold of the Setup, or compare other channels");
  const auto middle = [](std::vector<double>& values) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), at, values.end());
    return *at;
  };
  return {middle(heights), middle(transitions)};
}

// One set of candidates: all that share a filter, made ready on both channels.
struct CandidateSet {
  std::size_t first_candidate = 0, count = 0;
  std::deque<ChannelTimer> timers;  // of the two channels
};

// The stamps of the first pulse of every record of a block, by record, then channel, then candidate.
std::vector<Stamp> stamps_of(const RecordBlock& block, const CandidateSet& set, const Pair& pair) {
  std::vector<Stamp> stamps(block.records.size() * 2 * set.count);
  tbb::parallel_for(std::size_t{0}, block.records.size(), [&](std::size_t r) {
    const Record& record = block.records[r];
    for (std::size_t side = 0; side < 2; ++side) {
      const std::vector<Stamp> found =
          set.timers[side].stamps(record.traces[pair.both().at(side)], record.index);
      for (std::size_t i = 0; i < set.count; ++i) {
        Stamp& stamp = stamps[(r * 2 + side) * set.count + i];
        if (i < found.size())
          stamp = found[i];
        else
          stamp.flags = Flag::missing_channel;
      }
    }
  });
  return stamps;
}

void read_through(CandidateStamps& gathered, const CandidateSet& set, const Pair& pair, RecordReader& reader,
                  const CompareRunOptions& options) {
  std::size_t row = 0;
  while (row < options.most_records) {
    const std::size_t wanted = static_cast<std::size_t>(std::min<std::uint64_t>(
        std::max<std::size_t>(1, options.records_in_block), options.most_records - row));
    const RecordBlock block = reader.next_block(wanted);
    if (block.records.empty()) return;
    const std::vector<Stamp> stamps = stamps_of(block, set, pair);
    for (std::size_t r = 0; r < block.records.size(); ++r, ++row) {
      gathered.expect(row, block.records[r].index);
      for (std::size_t side = 0; side < 2; ++side) {
        const Stamp* of_channel = &stamps[(r * 2 + side) * set.count];
        if (of_channel->flags.has(Flag::missing_channel)) continue;  // no pulse in this trace
        if (set.first_candidate == 0) gathered.set_pulse(row, side, of_channel[0]);
        for (std::size_t i = 0; i < set.count; ++i)
          gathered.set(row, side, set.first_candidate + i, of_channel[i]);
      }
    }
  }
}

// All candidates: those without a filter, then the same with each cut that both channels' sampling allows.
struct Prepared {
  std::vector<Candidate> candidates;
  std::vector<std::vector<double>> corners_hz;  // of each set, by channel of the run
  std::size_t in_set = 0;
};

Prepared prepare(const CandidatePlan& plan, const std::vector<LearntChannel>& channels, const Pair& pair,
                 const std::array<ChannelScale, 2>& scales) {
  constexpr double highest_share = 1.0 / 3;  // of the sampling rate
  const std::vector<Candidate> base = unfiltered(plan);
  if (base.empty()) throw Error("comparison", "there is no candidate", "give methods to compare");
  Prepared prepared{.in_set = base.size()};
  std::vector<double> cuts{std::numeric_limits<double>::infinity()};
  cuts.insert(cuts.end(), plan.cuts.begin(), plan.cuts.end());
  for (const double cut : cuts) {
    std::vector<double> corners(channels.size(), std::numeric_limits<double>::infinity());
    bool possible = true;
    for (std::size_t side = 0; side < 2; ++side) {
      const std::size_t c = pair.both().at(side);
      corners[c] = cut * scales.at(side).band_hz();
      possible = possible && (std::isinf(cut) || corners[c] * channels[c].interval_s < highest_share);
    }
    if (!possible) continue;
    prepared.corners_hz.push_back(corners);
    for (Candidate candidate : base) {
      candidate.cut = cut;
      prepared.candidates.push_back(std::move(candidate));
    }
  }
  return prepared;
}

// The methods of a set by channel of the run: none but on the pair.
std::vector<std::vector<Settings>> methods_of_set(const Prepared& prepared, std::size_t set,
                                                  std::size_t channels, const Pair& pair,
                                                  const std::array<ChannelScale, 2>& scales) {
  std::vector<std::vector<Settings>> methods(channels);
  for (std::size_t side = 0; side < 2; ++side) {
    for (std::size_t i = 0; i < prepared.in_set; ++i)
      methods[pair.both().at(side)].push_back(
          settings_of(prepared.candidates[set * prepared.in_set + i], scales.at(side)));
  }
  return methods;
}

CandidateSet ready_set(const std::vector<LearntChannel>& channels, const Pair& pair,
                       std::vector<Candidate>& candidates, std::size_t first, const Prepared& prepared) {
  CandidateSet set{.first_candidate = first, .count = prepared.in_set};
  const std::vector<std::uint16_t> numbers(prepared.in_set, 0);
  for (std::size_t side = 0; side < 2; ++side) {
    set.timers.emplace_back(channels[pair.both().at(side)], static_cast<std::uint16_t>(side), numbers);
    const double corner_hz = prepared.corners_hz[first / set.count][pair.both().at(side)];
    for (std::size_t i = 0; i < set.count; ++i) {
      std::string words = set.timers.back().methods()[i].settings;
      if (std::isfinite(corner_hz))
        words += fmt::format("{}low-pass {}", words.empty() ? "" : ", ", format_quantity(corner_hz, "Hz", 3));
      candidates[first + i].settings.push_back(std::move(words));
    }
  }
  return set;
}

AmplifierRecords amplifier_records(const Files& files, const Setup& setup, const CompareRunOptions& options) {
  const RunSpectra spectra =
      spectra_of_run(files, setup, std::min<std::uint64_t>(options.most_records, 4000));
  AmplifierRecords records{.bare = *options.bare, .amplified = *options.amplified};
  for (std::size_t c = 0; c < spectra.spectra.size(); ++c) {
    const ChannelSpectra& of = spectra.spectra[c];
    if (of.channel == records.bare) {
      records.bare_signal = of.signal;
      records.bare_noise = of.noise;
      records.bare_noise_v = spectra.pedestals[c].height_v;
    } else if (of.channel == records.amplified) {
      records.amplified_signal = of.signal;
      records.amplified_noise = of.noise;
      records.amplified_noise_v = spectra.pedestals[c].height_v;
    }
  }
  return records;
}

}  // namespace

CompareRun compare_run(const Files& files, const Setup& setup, const CompareRunOptions& options) {
  const int threads = options.threads > 0 ? options.threads : tbb::info::default_concurrency();
  const tbb::global_control limit(tbb::global_control::max_allowed_parallelism,
                                  static_cast<std::size_t>(threads));
  const std::vector<std::string> names = open_records(files, setup.input)->description().channels;
  const Pair pair = pair_of(names, options);
  const Setup plain = without_methods(setup);
  const std::vector<LearntChannel> channels = learn_channels(*open_records(files, setup.input), plain, {});
  std::array<ChannelScale, 2> scales;
  for (std::size_t side = 0; side < 2; ++side) {
    const std::size_t position = pair.both().at(side);
    scales.at(side) = scale_of(channels[position], *open_records(files, setup.input), position);
  }
  const Prepared prepared = prepare(options.plan, channels, pair, scales);

  // Settings for people are known once every set is ready; the candidates are needed before the first is
  // read.
  std::vector<Candidate> candidates = prepared.candidates;
  std::deque<CandidateSet> sets;
  for (std::size_t s = 0; s < prepared.corners_hz.size(); ++s) {
    const Setup of_set = setup_of_set(setup, names, prepared.corners_hz[s],
                                      methods_of_set(prepared, s, names.size(), pair, scales));
    sets.push_back(ready_set(learn_channels_as_far_as_possible(*open_records(files, setup.input), of_set),
                             pair, candidates, s * prepared.in_set, prepared));
  }
  CandidateStamps stamps({names[pair.first], names[pair.second]}, candidates, options.allowed_flags);
  CompareRun run;
  for (std::size_t s = 0; s < sets.size(); ++s) {
    const std::unique_ptr<RecordReader> reader = open_records(files, setup.input);
    read_through(stamps, sets[s], pair, *reader, options);
    run.account = reader->account();
    if (options.progress)
      options.progress((s + 1) * stamps.records().size(),
                       static_cast<double>(s + 1) / static_cast<double>(sets.size()));
  }
  CompareOptions compare = options.compare;
  compare.first = names[pair.first];
  compare.second = names[pair.second];
  std::optional<AmplifierRecords> amplifier;
  if (options.bare) amplifier = amplifier_records(files, plain, options);
  run.result = analyse_comparison(stamps, compare, amplifier);
  if (stamps.records().size() == options.most_records)
    run.result.cautions.push_back(fmt::format("The first {} records were read.", options.most_records));
  return run;
}

}  // namespace firstedge
