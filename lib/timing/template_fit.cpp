#include "firstedge/timing/template_fit.hpp"

#include "firstedge/timing/pulse_splitting.hpp"
#include "firstedge/timing/template_group.hpp"
#include "firstedge/timing/template_stamp.hpp"
#include "firstedge/timing/template_trace.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

namespace firstedge {
namespace {

// What is lower than this share of a pulse beside it, to the same side, is part of its shape.
constexpr double least_share_same_side = 0.05;

// Pulses fitted together at most; of a longer chain, the ones before are taken away as they were fitted.
constexpr std::size_t most_together = 16;

// A fit is looked at for one more pulse when its chi-square has a probability below this.
constexpr double doubtful_probability = 0.01;

// Below this height over the noise of a sample it is no pulse.
constexpr double least_hidden_over_noise = 3;

}  // namespace

bool is_part_of(const Pulse& lobe, const Pulse& pulse) {
  constexpr double least_share_other_side = 0.3;
  const double share = lobe.polarity == pulse.polarity ? least_share_same_side : least_share_other_side;
  if (!(lobe.height_v < share * pulse.height_v)) return false;
  const std::size_t reach = pulse.region.size();
  return lobe.region.last + reach >= pulse.region.first && lobe.region.first <= pulse.region.last + reach;
}

// The pulses of one trace: first each for itself, those before it taken away, then the ones that overlap
// together.
class TemplateFit::TraceFit {
 public:
  TraceFit(const TemplateWeights& weights, const ConditionedTrace& trace)
      : weights_(weights), columns_(weights.columns), stamps_(weights, trace), trace_(columns_, trace) {}

  std::vector<Stamp> operator()(std::span<const Pulse> pulses) {
    std::size_t begin = 0;
    for (const Pulse& pulse : pulses) {
      made_.push_back(stamps_.untimed(pulse, begin));
      begin = pulse.region.last;
    }
    if (!trace_.same_interval()) return made_;
    for (std::size_t i = 0; i < pulses.size(); ++i) {
      const auto has_part = [&](const Pulse& one) { return is_part_of(pulses[i], one); };
      if (std::any_of(pulses.begin(), pulses.end(), has_part)) {
        made_[i].flags |= Flag::piled_up;
      } else if (pulses[i].peak < trace_.samples()) {
        const auto rest = pulses.subspan(i + 1);
        const auto next = std::find_if(rest.begin(), rest.end(),
                                       [&](const Pulse& one) { return !is_part_of(one, pulses[i]); });
        gather(pulses[i], i, next == rest.end() ? trace_.samples() : foot_of(*next));
      }
    }
    finish_group();
    made_.insert(made_.end(), further_.begin(), further_.end());
    return std::move(made_);
  }

 private:
  // A pulse of the group that is being gathered.
  struct Gathered {
    std::size_t index = 0;  // of its stamp
    Pulse pulse;
    PulsePlace place;
    std::size_t end = 0;               // where the next pulse begins
    std::optional<FittedPulse> alone;  // the fit with the ones before taken away

    double time() const { return alone ? alone->time_samples : place.start; }
  };

  // The first sample that a pulse disturbs; one more is left for the noise on its peak.
  std::size_t foot_of(const Pulse& pulse) const {
    const double foot = static_cast<double>(pulse.peak) - weights_.foot_to_peak_samples - 1;
    return std::min({pulse.region.first, static_cast<std::size_t>(std::max(foot, 0.0)), trace_.samples()});
  }

  void gather(const Pulse& pulse, std::size_t index, std::size_t end) {
    Gathered one{.index = index, .pulse = pulse, .place = trace_.place_of(pulse), .end = end, .alone = {}};
    one.alone =
        best_fit(trace_.samples_around(pulse.polarity, one.place.first, one.place.last, end), one.place);
    if (one.alone && one.alone->clipped &&
        trace_.leave_out_beside_clipped(*one.alone, pulse.polarity, stamps_.noise_v()))
      one.alone = best_fit(trace_.samples_around(pulse.polarity, one.place.first, one.place.last, end),
                           {one.alone->time_samples, one.place.first, one.place.last});
    const auto overlaps = [&](const Gathered& before) {
      return before.time() + trace_.support_last() > one.time() + trace_.support_first();
    };
    const bool joins = std::any_of(group_.begin(), group_.end(), overlaps);
    if (!joins || group_.size() >= most_together) finish_group();
    if (!joins) trace_.put_all_back();
    follows_ = joins && group_.empty();
    if (one.alone) trace_.take_away(one.alone->time_samples, pulse.polarity * one.alone->height_v);
    group_.push_back(one);
  }

  // From the start given, and where that fails or does not convince, from the best whole sample.
  std::optional<FittedPulse> best_fit(const PulseSamples& samples, const PulsePlace& place) const {
    const auto fit_from = [&](double from) {
      std::optional<FittedPulse> fitted = fit_pulse(columns_, samples, from);
      if (fitted && (fitted->time_samples < place.first || fitted->time_samples > place.last)) fitted.reset();
      return fitted;
    };
    std::optional<FittedPulse> near = fit_from(place.start);
    if (near && !stamps_.is_low(*near) && !stamps_.is_poor(*near)) return near;
    const std::optional<double> whole = best_whole_sample(columns_, samples, place.first, place.last);
    if (!whole) return near;
    std::optional<FittedPulse> best = fit_from(*whole);
    return near && (!best || near->explained >= best->explained) ? near : best;
  }

  void finish_group() {
    if (group_.empty()) return;
    for (const Gathered& one : group_)
      if (one.alone) trace_.put_back();
    std::vector<Member> members = fitted_together();
    for (std::size_t more = 0; more < group_.size() && asks_for_one_more(members); ++more) {
      std::optional<std::vector<Member>> with = with_one_more(members);
      if (!with) break;
      const bool resolved = with->size() > members.size();
      members = std::move(*with);
      if (!resolved) break;
    }
    write_stamps(members);
    for (const Member& one : members)
      trace_.take_away(one.fitted.time_samples, one.polarity * one.fitted.height_v);
    group_.clear();
  }

  // A fitted pulse of the group. level_v and chi_square in `fitted` are those of the group.
  struct Member {
    FittedPulse fitted;
    int polarity = 1;
    FlagSet flags;
  };

  std::vector<Member> fitted_together() const {
    std::vector<Member> members;
    for (const Gathered& one : group_)
      if (one.alone) members.push_back({*one.alone, one.pulse.polarity, {}});
    if (group_.size() == 1) return members;
    std::vector<GroupMember> starts;
    for (const Gathered& one : group_) starts.push_back({one.time(), one.pulse.polarity});
    const std::optional<FittedGroup> group = fit_group(columns_, group_samples(starts), starts);
    if (group) return members_of(*group, starts);
    for (Member& one : members) one.flags = Flag::unresolved;
    return members;
  }

  static std::vector<Member> members_of(const FittedGroup& group, std::span<const GroupMember> starts) {
    std::vector<Member> members;
    for (std::size_t k = 0; k < group.pulses.size(); ++k)
      members.push_back({group.pulses[k], starts[k].polarity, {}});
    std::stable_sort(members.begin(), members.end(), [](const Member& a, const Member& b) {
      return a.fitted.time_samples < b.fitted.time_samples;
    });
    return members;
  }

  // All that the pulses reach, and those that may yet be found among them.
  PulseSamples group_samples(std::span<const GroupMember> members) const {
    double first = last_place();
    for (const GroupMember& one : members) first = std::min(first, first_place(one.time_samples));
    return trace_.samples_in_windows(1, first, last_place(), group_.back().end);
  }
  // Before a fitted pulse, not before the foot of the pulse of the search that it stands in.
  double first_place(double time) const {
    double foot = time;
    for (const Gathered& one : group_) {
      const auto begin = static_cast<double>(one.pulse.region.first);
      if (begin <= time) foot = begin;
    }
    return foot - 2 * trace_.transition();
  }
  double last_place() const {
    const Gathered& last = group_.back();
    return std::clamp(static_cast<double>(last.pulse.region.last), last.time(),
                      last.time() + trace_.support_last());
  }

  // A fit that is doubtful, or none at all.
  bool asks_for_one_more(const std::vector<Member>& members) const {
    if (!weights_.options.find_hidden_pulses || !columns_.whitening().known()) return false;
    return members.empty() || members.front().flags.has(Flag::unresolved) ||
           stamps_.probability(members.front().fitted) < doubtful_probability;
  }

  // The group with a pulse more that the search did not see, if the residuals ask for one.
  std::optional<std::vector<Member>> with_one_more(const std::vector<Member>& members) const {
    std::vector<GroupMember> known;
    for (const Member& one : members) known.push_back({one.fitted.time_samples, one.polarity});
    if (members.empty())
      for (const Gathered& one : group_) known.push_back({one.time(), one.pulse.polarity});
    const PulseSamples samples = group_samples(known);
    const std::optional<FittedGroup> alone = fit_group(columns_, samples, known);
    const std::optional<double> without =
        alone ? std::optional(alone->chi_square) : chi_square_at(columns_, samples, known);
    if (!without) return std::nullopt;
    std::optional<FittedGroup> best;
    std::vector<GroupMember> best_starts;
    for (std::size_t split = 0; split < known.size(); ++split) {
      const auto starts = taken_for_two(columns_, samples, known, split,
                                        first_place(known[split].time_samples), last_place());
      if (!starts) continue;
      const std::optional<FittedGroup> with = fit_group(columns_, samples, *starts);
      if (!with || (best && with->chi_square >= best->chi_square)) continue;
      best = with;
      best_starts = *starts;
    }
    if (!best || !convinces(*best, *without)) return std::nullopt;
    std::vector<Member> with = members_of(*best, best_starts);
    if (!members.empty() && are_too_near(with)) {
      with = members;
      for (Member& one : with) one.flags |= Flag::unresolved;
    }
    return with;
  }

  bool are_too_near(const std::vector<Member>& members) const {
    for (std::size_t m = 0; m + 1 < members.size(); ++m)
      if (members[m + 1].fitted.time_samples - members[m].fitted.time_samples < least_samples_apart())
        return true;
    return false;
  }
  double least_samples_apart() const { return least_separation * trace_.transition(); }

  bool convinces(const FittedGroup& with, double without) const {
    constexpr double least = TemplateFit::least_hidden_significance;
    double highest_v = 0;
    double lowest_v = with.pulses.front().height_v;
    for (const FittedPulse& one : with.pulses) {
      highest_v = std::max(highest_v, one.height_v);
      lowest_v = std::min(lowest_v, one.height_v);
    }
    const double gain = without - with.chi_square;
    return gain >= least * least * stamps_.expected_goodness(with.pulses.front()) &&
           !stamps_.is_poor(with.pulses.front()) && lowest_v >= least_share_same_side * highest_v &&
           lowest_v >= least_hidden_over_noise * stamps_.noise_v();
  }

  // To each pulse of the search goes the first fitted one after the middle between it and the one before;
  // those left over are further pulses.
  void write_stamps(const std::vector<Member>& members) {
    std::vector<bool> written(members.size());
    for (std::size_t g = 0; g < group_.size(); ++g) {
      const double from = g == 0 ? -INFINITY : 0.5 * (group_[g - 1].time() + group_[g].time());
      for (std::size_t m = 0; m < members.size(); ++m) {
        if (written[m] || members[m].polarity != group_[g].pulse.polarity ||
            members[m].fitted.time_samples < from)
          continue;
        Stamp& stamp = made_[group_[g].index];
        stamp = stamp_of(stamp, members, m);
        written[m] = true;
        break;
      }
    }
    for (std::size_t m = 0; m < members.size(); ++m)
      if (!written[m]) further_.push_back(stamp_of(stamps_.untimed(members[m].polarity), members, m));
  }

  Stamp stamp_of(const Stamp& before, const std::vector<Member>& members, std::size_t m) const {
    const FittedPulse& fitted = members[m].fitted;
    Stamp stamp = stamps_.timed(before, fitted);
    stamp.flags |= members[m].flags;
    const bool ends_at_pulse = group_.back().end < trace_.samples();
    if (fitted.cut_before || (fitted.cut_after && !ends_at_pulse)) stamp.flags |= Flag::edge_of_record;
    if (members.size() > 1 || group_.size() > 1 || follows_ || (fitted.cut_after && ends_at_pulse))
      stamp.flags |= Flag::piled_up;
    const auto too_close = [&](std::size_t other) {
      return std::abs(members[other].fitted.time_samples - fitted.time_samples) < least_samples_apart();
    };
    if ((m > 0 && too_close(m - 1)) || (m + 1 < members.size() && too_close(m + 1)))
      stamp.flags |= Flag::unresolved;
    return stamp;
  }

  const TemplateWeights& weights_;
  const TemplateColumns& columns_;
  TemplateStamps stamps_;
  TemplateTrace trace_;
  std::vector<Gathered> group_;
  bool follows_ = false;  // the group goes on from one that was full
  std::vector<Stamp> made_, further_;
};

TemplateFit::TemplateFit(const PulseTemplate& pulse_template, const NoiseModel& noise,
                         const TemplateFitOptions& options)
    : weights_(std::make_shared<const TemplateWeights>(template_weights(pulse_template, noise, options))) {}

Stamp TemplateFit::operator()(const ConditionedTrace& trace, const Pulse& pulse) const {
  return TraceFit(*weights_, trace)(std::span(&pulse, 1)).front();
}

std::vector<Stamp> TemplateFit::operator()(const ConditionedTrace& trace,
                                           std::span<const Pulse> pulses) const {
  return TraceFit(*weights_, trace)(pulses);
}

std::optional<PeakHeight> TemplateFit::height(const ConditionedTrace& trace, const Pulse& pulse) const {
  const std::vector<Stamp> stamps = (*this)(trace, std::span(&pulse, 1));
  if (stamps.size() != 1 || stamps.front().flags.has(Flag::not_timed)) return std::nullopt;
  const GroupMember member{.time_samples = (stamps.front().time_s - trace.first_sample_s) / trace.interval_s,
                           .polarity = pulse.polarity};
  const PulseSamples samples =
      TemplateTrace(weights_->columns, trace)
          .samples_in_windows(1, member.time_samples, member.time_samples, trace.volts.size());
  const auto fitted = fit_group(weights_->columns, samples, std::span(&member, 1));
  if (!fitted) return std::nullopt;
  PeakHeight height{.value_v = fitted->pulses.front().height_v, .weights = {}};
  const std::vector<double>& weights = fitted->height_weights.front();
  for (std::size_t i = 0; i < weights.size(); ++i)
    if (!samples.left_out[i])
      height.weights.add(static_cast<std::size_t>(samples.first) + i, pulse.polarity * weights[i]);
  return height;
}

}  // namespace firstedge
