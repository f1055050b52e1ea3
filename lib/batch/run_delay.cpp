#include "firstedge/batch/run_delay.hpp"

#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

constexpr std::size_t records_in_block = 128;

// What one record says of one channel. times_s: by method; NaN where the stamp is not to be used.
struct Look {
  std::vector<double> volts;
  std::vector<double> times_s;
  double uncertainty_s = 0;  // of the first time that there is
  double first_time_s() const {
    const auto found =
        std::find_if(times_s.begin(), times_s.end(), [](double time) { return std::isfinite(time); });
    return found == times_s.end() ? not_known : *found;
  }
};

// One learnt channel of one run.
class Side {
 public:
  Side(const std::vector<std::filesystem::path>& files, const Setup& setup, const std::string& name,
       std::size_t otherwise) {
    const std::vector<LearntChannel> all = learn_channels(*open_records(files, setup.input), setup, {});
    std::vector<std::string> names;
    for (const LearntChannel& channel : all) names.push_back(channel.name);
    const auto found = name.empty()
                           ? names.begin() + static_cast<std::ptrdiff_t>(std::min(otherwise, names.size()))
                           : std::find(names.begin(), names.end(), name);
    if (found == names.end())
      throw Error(name.empty() ? "the run" : fmt::format("channel '{}'", name),
                  name.empty() ? "has no second channel" : "is not there",
                  fmt::format("there are {}", fmt::join(names, ", ")));
    position_ = static_cast<std::size_t>(found - names.begin());
    learnt_ = all[position_];
    timer_ = std::make_unique<ChannelTimer>(learnt_, 0, std::vector<std::uint16_t>(learnt_.timing.size()));
    conditioner_ = std::make_unique<Conditioner>(learnt_.conditioning, learnt_.interval_s);
  }

  const LearntChannel& learnt() const { return learnt_; }
  std::size_t position() const { return position_; }
  const std::vector<TimingMethod>& methods() const { return timer_->methods(); }

  /// Nothing for a record that cannot be used: no trace, another time base or length, clipped, no pulse.
  std::optional<Look> look(const Record& record) {
    const Trace& trace = record.traces[position_];
    if (trace.empty() || trace.interval_s != learnt_.interval_s) return std::nullopt;
    ConditionedTrace conditioned = (*conditioner_)(trace);
    if (!conditioned.clipped.empty()) return std::nullopt;
    if (samples_ == 0) {
      samples_ = conditioned.volts.size();
      first_sample_s_ = conditioned.first_sample_s;
    }
    if (conditioned.volts.size() != samples_) return std::nullopt;
    // Each record's own first sample may differ; times are taken from the samples.
    const double moved_s = conditioned.first_sample_s - first_sample_s_;
    Look look{.volts = std::move(conditioned.volts),
              .times_s = std::vector<double>(learnt_.timing.size(), not_known)};
    std::size_t method = 0;
    bool any = false;
    for (const Stamp& stamp : timer_->stamps(trace, record.index)) {
      if (stamp.pulse != 0 || method == look.times_s.size()) continue;
      if (stamp.flags.without(doubts_of_uncertainty).empty() && std::isfinite(stamp.time_s)) {
        look.times_s[method] = stamp.time_s - moved_s;
        if (!any) look.uncertainty_s = stamp.uncertainty_s;
        any = true;
      }
      ++method;
    }
    return any ? std::optional(std::move(look)) : std::nullopt;
  }

  AverageHead head() const { return {learnt_.name, learnt_.interval_s, first_sample_s_, learnt_.noise}; }
  std::size_t samples() const { return samples_; }

 private:
  LearntChannel learnt_;
  std::size_t position_ = 0, samples_ = 0;
  double first_sample_s_ = 0;
  std::unique_ptr<ChannelTimer> timer_;
  std::unique_ptr<Conditioner> conditioner_;
};

// Records of a run, one at a time, up to a number.
class Records {
 public:
  Records(const std::vector<std::filesystem::path>& files, const Setup& setup, std::uint64_t most)
      : reader_(open_records(files, setup.input)), left_(most) {}

  const Record* next() {
    if (at_ == block_.records.size()) {
      if (left_ == 0) return nullptr;
      block_ =
          reader_->next_block(static_cast<std::size_t>(std::min<std::uint64_t>(records_in_block, left_)));
      at_ = 0;
      left_ -= block_.records.size();
      if (block_.records.empty()) return nullptr;
    }
    return &block_.records[at_++];
  }
  const ReadingAccount& account() const { return reader_->account(); }

 private:
  std::unique_ptr<RecordReader> reader_;
  std::uint64_t left_ = 0;
  RecordBlock block_;
  std::size_t at_ = 0;
};

// Moves records by whole samples to where the first pulse was, and knows how far they are still off.
class Aligner {
 public:
  explicit Aligner(double interval_s) : interval_s_(interval_s) {}

  std::ptrdiff_t shift(double time_s, double uncertainty_s) {
    if (off_s_.empty()) reference_s_ = time_s;
    const double samples = std::round((time_s - reference_s_) / interval_s_);
    keep(time_s - samples * interval_s_, uncertainty_s);
    return static_cast<std::ptrdiff_t>(samples);
  }
  void keep(double time_s, double uncertainty_s) {
    off_s_.push_back(time_s);
    noise_s2_ += uncertainty_s * uncertainty_s;
  }
  /// Standard deviation of where the pulses stand, without that of the times themselves.
  double blur_s() const {
    if (off_s_.size() < 2) return 0;
    const double spread_s = moments(off_s_).deviation.value;
    return std::sqrt(std::max(0.0, spread_s * spread_s - noise_s2_ / static_cast<double>(off_s_.size())));
  }

 private:
  double interval_s_ = 0, reference_s_ = 0, noise_s2_ = 0;
  std::vector<double> off_s_;
};

// Names of methods, numbered where one is there twice.
std::vector<std::string> numbered(const std::vector<TimingMethod>& methods) {
  std::vector<std::string> names;
  std::map<std::string, int> seen;
  for (const TimingMethod& method : methods) {
    const int number = ++seen[method.name];
    names.push_back(number == 1 ? method.name : fmt::format("{} {}", method.name, number));
  }
  return names;
}

// A method that both have, and its place in each.
struct MethodPlaces {
  std::size_t before = 0, after = 0;
};

struct Paired {
  std::vector<ThroughMethod> methods;
  std::vector<MethodPlaces> places;
};

Paired paired_methods(const Side& before, const Side& after) {
  Paired paired;
  const std::vector<std::string> first = numbered(before.methods()), second = numbered(after.methods());
  for (std::size_t i = 0; i < first.size(); ++i) {
    const auto found = std::find(second.begin(), second.end(), first[i]);
    if (found == second.end()) continue;
    const auto other = static_cast<std::size_t>(found - second.begin());
    paired.methods.push_back({first[i], before.methods()[i], after.methods()[other], {}});
    paired.places.push_back({i, other});
  }
  return paired;
}

// Pairs of looks, added one by one; the average is made when the first is there.
class Gatherer {
 public:
  Gatherer(const Side& before, const Side& after, bool moves)
      : before_(before),
        after_(after),
        moves_(moves),
        aligner_(before.learnt().interval_s),
        paired_(paired_methods(before, after)) {}

  void add(const Look& before, const Look& after) {
    const double time_s = before.first_time_s();
    if (before.volts.size() != after.volts.size())
      throw Error(fmt::format("channels '{}' and '{}'", before_.learnt().name, after_.learnt().name),
                  fmt::format("have {} and {} samples a record", before.volts.size(), after.volts.size()),
                  "record both over the same stretch");
    if (!average_) average_.emplace(before_.head(), after_.head(), before.volts.size());
    std::ptrdiff_t shift = 0;
    if (moves_)
      shift = aligner_.shift(time_s, before.uncertainty_s);
    else
      aligner_.keep(time_s, before.uncertainty_s);
    average_->add(before.volts, after.volts, shift);
    for (std::size_t m = 0; m < paired_.methods.size(); ++m)
      paired_.methods[m].difference_s.push_back(after.times_s[paired_.places[m].after] -
                                                before.times_s[paired_.places[m].before]);
  }

  ThroughData data(std::uint64_t left_out) const {
    if (!average_)
      throw Error(fmt::format("channels '{}' and '{}'", before_.learnt().name, after_.learnt().name),
                  "have no record in which both have a pulse", "look at the run with firstedge-inspect");
    return {.average = *average_,
            .methods = paired_.methods,
            .before_search = before_.learnt().search,
            .after_search = after_.learnt().search,
            .blur_s = aligner_.blur_s(),
            .left_out = left_out,
            .two_runs = !moves_};
  }

 private:
  const Side& before_;
  const Side& after_;
  bool moves_ = true;
  Aligner aligner_;
  Paired paired_;
  std::optional<PairAverage> average_;
};

ThroughRun one_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                   const ThroughRunOptions& options) {
  Side before(files, setup, options.before, 0), after(files, setup, options.after, 1);
  if (before.position() == after.position())
    throw Error(fmt::format("channel '{}'", before.learnt().name), "is paired with itself",
                "name two channels");
  Gatherer gatherer(before, after, true);
  Records records(files, setup, options.most_records);
  std::uint64_t left_out = 0;
  while (const Record* record = records.next()) {
    const std::optional<Look> first = before.look(*record), second = after.look(*record);
    if (first && second)
      gatherer.add(*first, *second);
    else
      ++left_out;
  }
  return {gatherer.data(left_out), records.account()};
}

// The next record of a run that can be used.
std::optional<Look> next_look(Records& records, Side& side, std::uint64_t& left_out) {
  while (const Record* record = records.next()) {
    if (std::optional<Look> look = side.look(*record)) return look;
    ++left_out;
  }
  return std::nullopt;
}

ThroughRun two_runs(const std::vector<std::filesystem::path>& files, const Setup& setup,
                    const ThroughRunOptions& options) {
  Side before(files, setup, options.before, 0), after(options.files_after, setup, options.after, 0);
  Gatherer gatherer(before, after, false);
  Records first(files, setup, options.most_records), second(options.files_after, setup, options.most_records);
  std::uint64_t left_out = 0;
  while (true) {
    const std::optional<Look> x = next_look(first, before, left_out);
    const std::optional<Look> y = next_look(second, after, left_out);
    if (!x || !y) break;
    gatherer.add(*x, *y);
  }
  ThroughRun run{gatherer.data(left_out), first.account()};
  const std::vector<Error>& more = second.account().problems;
  run.account.problems.insert(run.account.problems.end(), more.begin(), more.end());
  return run;
}

}  // namespace

ThroughRun through_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                          const ThroughRunOptions& options) {
  return options.files_after.empty() ? one_run(files, setup, options) : two_runs(files, setup, options);
}

ReflectionRun reflection_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                                const ReflectionRunOptions& options) {
  Setup halves = setup;
  Settings half("delay by reflection");
  half.set("method", "constant_fraction");
  half.set("fraction", 0.5);
  halves.every_channel.timing = {half};
  for (ChannelSetup& channel : halves.channels) channel.timing = {half};
  Side side(files, halves, options.channel, 0);
  Aligner aligner(side.learnt().interval_s);
  Records records(files, setup, options.most_records);
  std::optional<TraceAverage> average;
  std::uint64_t left_out = 0;
  while (const Record* record = records.next()) {
    const std::optional<Look> look = side.look(*record);
    if (!look) {
      ++left_out;
      continue;
    }
    if (!average) average.emplace(side.head(), side.samples());
    average->add(look->volts, aligner.shift(look->first_time_s(), look->uncertainty_s));
  }
  if (!average)
    throw Error(fmt::format("channel '{}'", side.learnt().name), "has no record with a pulse",
                "look at the run with firstedge-inspect");
  return {std::move(*average), left_out, records.account()};
}

}  // namespace firstedge
