#include "firstedge/browse/survey.hpp"

#include "firstedge/stats/histogram.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <set>

#include <fmt/format.h>

namespace firstedge {

const std::array<const char*, 6> extreme_names{"lowest", "highest",       "earliest",
                                               "latest", "least certain", "worst fitting"};
const std::array<const char*, 2> furthest_names{"lowest difference", "highest difference"};

namespace {

PulseName name_of(const Stamp& stamp) {
  return {stamp.record, stamp.channel, stamp.pulse};
}

// Two channels' first pulses of one record, both timed.
struct Pair {
  PulseName first, second;
  double difference_s = 0;
};

using TakePulse = std::function<void(const Stamp&)>;
using TakePair = std::function<void(const Pair&)>;

// Puts the pairs together as the stamps of a record come by.
class PairFinder {
 public:
  explicit PairFinder(std::array<std::size_t, 2> channels) : channels_(channels) {}

  std::optional<Pair> add(const Stamp& stamp) {
    if (stamp.pulse != 0 || !std::isfinite(stamp.time_s)) return std::nullopt;
    if (stamp.record != record_) held_ = {};
    record_ = stamp.record;
    for (std::size_t side = 0; side < 2; ++side) {
      if (stamp.channel == channels_.at(side)) held_.at(side) = stamp;
    }
    if (!held_[0] || !held_[1]) return std::nullopt;
    const Pair pair{name_of(*held_[0]), name_of(*held_[1]), held_[0]->time_s - held_[1]->time_s};
    held_ = {};
    return pair;
  }

 private:
  std::array<std::size_t, 2> channels_;
  std::uint64_t record_ = 0;
  std::array<std::optional<Stamp>, 2> held_;
};

void go_through(const StampTableAt& at, const Survey& survey, const TakePulse& take_pulse,
                const TakePair& take_pair) {
  constexpr std::size_t block_size = 65536;
  StampTableReader table(at);
  std::optional<PairFinder> pairs;
  if (survey.pair) pairs.emplace(*survey.pair);
  for (auto block = table.next_block(block_size); !block.empty(); block = table.next_block(block_size)) {
    for (const Stamp& stamp : block) {
      if (stamp.method != survey.method) continue;
      take_pulse(stamp);
      if (!pairs) continue;
      if (const std::optional<Pair> pair = pairs->add(stamp)) take_pair(*pair);
    }
  }
}

// A fixed sample of values, from which bins are made before all of them are known.
class ValueSample {
 public:
  void add(double lot, double value) {
    if (!std::isfinite(value)) return;
    constexpr std::size_t most = 20'000;
    if (kept_.size() == most && kept_.rbegin()->first < lot) return;
    kept_.emplace(lot, value);
    if (kept_.size() > most) kept_.erase(std::prev(kept_.end()));
  }

  BinnedPulses bins(std::size_t of_each_bin) const {
    BinnedPulses binned;
    if (kept_.empty()) return binned;
    std::vector<double> values;
    for (const auto& [lot, value] : kept_) values.push_back(value);
    std::sort(values.begin(), values.end());
    constexpr std::size_t bins = 50;
    constexpr double reach = 6;  // half-widths of the core, to either side of its own
    const auto quantile = [&](double share) {
      return values[static_cast<std::size_t>(std::round(share * static_cast<double>(values.size() - 1)))];
    };
    const double middle = quantile(0.5);
    const double from = std::max(middle - reach * (middle - quantile(0.16)), values.front());
    const double to = std::min(middle + reach * (quantile(0.84) - middle), values.back());
    binned.edges = from < to ? even_edges(from, to, bins) : edges_for(values, {});
    binned.counts.assign(binned.edges.size() - 1, 0);
    binned.lists.assign(binned.counts.size(), Shortlist(of_each_bin));
    return binned;
  }

 private:
  std::set<std::pair<double, double>> kept_;
};

void bin(BinnedPulses& binned, double value, double lot, const Listed& entry) {
  if (binned.edges.empty() || !(value >= binned.edges.front() && value <= binned.edges.back())) {
    ++binned.outside;
    return;
  }
  const auto above = std::upper_bound(binned.edges.begin(), binned.edges.end(), value);
  const std::size_t at =
      std::min(static_cast<std::size_t>(above - binned.edges.begin()) - 1, binned.counts.size() - 1);
  ++binned.counts[at];
  binned.lists[at].offer(lot, entry);
}

void take(ChannelSurvey& channel, const Stamp& stamp) {
  const Listed entry{name_of(stamp), std::nullopt};
  const double lot = lot_of(entry.first);
  ++channel.pulses;
  for (std::size_t f = 0; f < flag_table.size(); ++f) {
    if (stamp.flags.has(flag_table[f].flag)) channel.flags[f].offer(lot, entry);
  }
  if (stamp.flags.empty()) {
    channel.good[0].offer(lot, entry);
  } else {
    ++channel.flagged;
  }
  bin(channel.heights, stamp.height_v, lot, entry);
  // Lowest, highest, earliest, latest, least certain, worst fit: see extreme_names.
  const std::array<double, 6> ranks{stamp.height_v, -stamp.height_v,      stamp.time_s,
                                    -stamp.time_s,  -stamp.uncertainty_s, -stamp.goodness};
  for (std::size_t e = 0; e < ranks.size(); ++e) channel.extremes[e].offer(ranks.at(e), entry);
}

std::size_t method_of(const StampTableHead& head, const std::string& name, const std::string& place) {
  if (!name.empty()) return method_numbered(head, name, place);
  const auto fit = std::find_if(head.methods.begin(), head.methods.end(),
                                [](const auto& method) { return method.name.starts_with("template_"); });
  return fit == head.methods.end() ? 0 : static_cast<std::size_t>(fit - head.methods.begin());
}

std::optional<std::array<std::size_t, 2>> pair_of(const StampTableHead& head, const SurveyOptions& options,
                                                  const std::string& place) {
  if (!options.first.empty()) {
    return std::array{channel_numbered(head, options.first, place),
                      channel_numbered(head, options.second, place)};
  }
  if (head.channels.size() < 2) return std::nullopt;
  return std::array<std::size_t, 2>{0, 1};
}

// The lists that do not need to know the range of anything.
Survey empty_survey(const StampTableHead& head, const std::string& place, const SurveyOptions& options) {
  Survey survey{.method = method_of(head, options.method, place), .pair = pair_of(head, options, place)};
  const Shortlist extreme(options.of_each_extreme);
  survey.furthest.assign(furthest_names.size(), extreme);
  survey.channels.resize(head.channels.size());
  for (ChannelSurvey& channel : survey.channels) {
    channel.flags.assign(flag_table.size(), Shortlist(options.of_each_flag));
    channel.good.assign(1, Shortlist(options.of_each_flag));
    channel.extremes.assign(extreme_names.size(), extreme);
  }
  return survey;
}

}  // namespace

Survey survey_table(const StampTableAt& table, const SurveyOptions& options) {
  const StampTableHead head = StampTableReader(table).head();
  Survey survey = empty_survey(head, place_of(table), options);

  std::vector<ValueSample> heights(head.channels.size());
  ValueSample differences;
  go_through(
      table, survey,
      [&](const Stamp& stamp) { heights[stamp.channel].add(lot_of(name_of(stamp)), stamp.height_v); },
      [&](const Pair& pair) { differences.add(lot_of(pair.first), pair.difference_s); });
  for (std::size_t c = 0; c < heights.size(); ++c)
    survey.channels[c].heights = heights[c].bins(options.of_each_bin);
  survey.differences = differences.bins(options.of_each_bin);

  go_through(
      table, survey, [&](const Stamp& stamp) { take(survey.channels[stamp.channel], stamp); },
      [&](const Pair& pair) {
        const Listed entry{pair.first, pair.second};
        ++survey.pairs;
        bin(survey.differences, pair.difference_s, lot_of(pair.first), entry);
        survey.furthest[0].offer(pair.difference_s, entry);
        survey.furthest[1].offer(-pair.difference_s, entry);
      });
  return survey;
}

std::vector<const Shortlist*> shortlists_of(const Survey& survey) {
  std::vector<const Shortlist*> lists;
  const auto add = [&](const std::vector<Shortlist>& more) {
    for (const Shortlist& list : more) lists.push_back(&list);
  };
  for (const ChannelSurvey& channel : survey.channels) add(channel.flags);
  add(survey.furthest);
  for (const ChannelSurvey& channel : survey.channels) add(channel.extremes);
  for (const ChannelSurvey& channel : survey.channels) add(channel.good);
  add(survey.differences.lists);
  for (const ChannelSurvey& channel : survey.channels) add(channel.heights.lists);
  return lists;
}

}  // namespace firstedge
