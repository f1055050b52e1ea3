#include "firstedge/chain/delay_plan.hpp"

#include "firstedge/chain/calibration_choice.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Which calibration of each element of a chain, and how it stands: while this stays, the delay stays.
using Choice = std::vector<std::pair<std::size_t, Standing>>;

struct Stretch {
  std::uint64_t first_record = 0;
  std::optional<Instant> when;
};

std::vector<const Element*> elements_of(const Chain& chain, const Station& station) {
  std::vector<const Element*> elements;
  for (const Element& element : station.elements) {
    if (std::find(chain.elements.begin(), chain.elements.end(), element.name) != chain.elements.end())
      elements.push_back(&element);
  }
  return elements;
}

Choice choice_at(const std::vector<const Element*>& elements, const std::optional<Instant>& when) {
  Choice choice;
  for (const Element* element : elements) {
    const ChosenCalibration chosen = choose_calibration(*element, when);
    choice.emplace_back(chosen.index, chosen.standing);
  }
  return choice;
}

// The stretches of records over which the choice of calibrations stays the same.
std::vector<Stretch> stretches_of(const Chain& chain, const Station& station, const RunDates& dates) {
  if (dates.triggers.empty()) return {{.first_record = 0, .when = dates.otherwise}};
  const std::vector<const Element*> elements = elements_of(chain, station);
  std::vector<Stretch> stretches{{.first_record = 0, .when = dates.triggers.front().instant}};
  Choice choice = choice_at(elements, stretches.front().when);
  for (const RecordDate& date : dates.triggers) {
    Choice now = choice_at(elements, date.instant);
    if (now == choice) continue;
    choice = std::move(now);
    stretches.push_back({.first_record = date.record, .when = date.instant});
  }
  return stretches;
}

void add_once(std::vector<std::string>& warnings, const std::string& words) {
  if (std::find(warnings.begin(), warnings.end(), words) == warnings.end()) warnings.push_back(words);
}

void add_chain(const Chain& chain, const Station& station, const RunDates& dates, ExpiredPolicy policy,
               DelayPlan& plan) {
  const std::vector<Stretch> stretches = stretches_of(chain, station, dates);
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    ChainDelay delay = chain_delay(chain, station, stretches[i].when);
    if (!delay.doubts.empty() && policy == ExpiredPolicy::refuse)
      throw Error(
          "chain of channel '" + chain.channel + "'", delay.doubts.front(),
          "add a calibration that is valid then (or the date, if it is not known), or ask for the nearest "
          "one and a flag");
    for (const std::string& words : delay.doubts)
      add_once(plan.warnings,
               words + ": the nearest is used, and the stamps are flagged calibration_expired");
    for (const std::string& words : delay.notes) add_once(plan.warnings, words);
    AppliedDelay applied{.channel = chain.channel,
                         .first_record = stretches[i].first_record,
                         .delay_s = delay.delay_s,
                         .doubtful = !delay.doubts.empty(),
                         .terms = std::move(delay.terms)};
    if (i + 1 < stretches.size()) applied.last_record = stretches[i + 1].first_record - 1;
    plan.delays.push_back(std::move(applied));
  }
}

void check_order(const RunDates& dates) {
  for (std::size_t i = 1; i < dates.triggers.size(); ++i) {
    if (dates.triggers[i].record <= dates.triggers[i - 1].record)
      throw Error(fmt::format("trigger of record {}", dates.triggers[i].record), "stands out of order",
                  "give one trigger a record, in order");
  }
}

// The delay of each stamp, looked up by channel number and record.
class Lookup {
 public:
  Lookup(const std::vector<std::string>& channels, std::span<const AppliedDelay> delays)
      : channels_(channels), by_channel_(channels.size()) {
    for (const AppliedDelay& delay : delays) {
      const auto channel = std::find(channels.begin(), channels.end(), delay.channel);
      if (channel != channels.end())
        by_channel_[static_cast<std::size_t>(channel - channels.begin())][delay.first_record] = &delay;
    }
  }

  const AppliedDelay& of(const Stamp& stamp) const {
    if (stamp.channel < by_channel_.size()) {
      const auto& stretches = by_channel_[stamp.channel];
      const auto after = stretches.upper_bound(stamp.record);
      if (after != stretches.begin() && std::prev(after)->second->last_record >= stamp.record)
        return *std::prev(after)->second;
    }
    throw Error(fmt::format("record {}, channel '{}'", stamp.record,
                            stamp.channel < channels_.size() ? channels_[stamp.channel] : "?"),
                "has no delay", "give delays for all channels and records");
  }

 private:
  const std::vector<std::string>& channels_;
  std::vector<std::map<std::uint64_t, const AppliedDelay*>> by_channel_;
};

}  // namespace

DelayPlan plan_delays(const std::vector<std::string>& channels, const Station& station, const RunDates& dates,
                      ExpiredPolicy policy) {
  check_order(dates);
  DelayPlan plan;
  for (const std::string& channel : channels) {
    const auto chain = std::find_if(station.chains.begin(), station.chains.end(),
                                    [&](const Chain& one) { return one.channel == channel; });
    if (chain != station.chains.end()) {
      add_chain(*chain, station, dates, policy, plan);
      continue;
    }
    if (policy == ExpiredPolicy::refuse)
      throw Error("channel '" + channel + "'", "has no chain in the Setup",
                  "list its elements under \"chain\" (an empty list if it passes none), or ask for the flag");
    plan.warnings.push_back(
        "channel '" + channel +
        "' has no chain: no delay is taken out, and its stamps are flagged calibration_expired");
    plan.delays.push_back({.channel = channel, .doubtful = true, .terms = {}});
  }
  return plan;
}

std::vector<Stamp> with_delays_out(std::span<const Stamp> stamps, const std::vector<std::string>& channels,
                                   std::span<const AppliedDelay> delays) {
  const Lookup lookup(channels, delays);
  std::vector<Stamp> out(stamps.begin(), stamps.end());
  for (Stamp& stamp : out) {
    const AppliedDelay& delay = lookup.of(stamp);
    stamp.time_s -= delay.delay_s;
    if (delay.doubtful) stamp.flags |= Flag::calibration_expired;
  }
  return out;
}

std::vector<Stamp> with_delays_back(std::span<const Stamp> stamps, const std::vector<std::string>& channels,
                                    std::span<const AppliedDelay> delays) {
  constexpr auto expired = static_cast<std::uint32_t>(Flag::calibration_expired);
  const Lookup lookup(channels, delays);
  std::vector<Stamp> back(stamps.begin(), stamps.end());
  for (Stamp& stamp : back) {
    const AppliedDelay& delay = lookup.of(stamp);
    stamp.time_s += delay.delay_s;
    if (delay.doubtful) stamp.flags = FlagSet::from_bits(stamp.flags.bits() & ~expired);
  }
  return back;
}

}  // namespace firstedge
