#include "firstedge/batch/run_budget.hpp"

#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <map>
#include <optional>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

// One channel on its way: the first pulse's stamps by method, record after record.
struct Gathered {
  LearntChannel channel;
  std::size_t position = 0;  // in the run
  double step_v = 0, baseline_squares_v2 = 0;
  std::size_t baselines = 0;
};

// A record in which both channels have a pulse: [channel][method].
using BothStamps = std::array<std::vector<Stamp>, 2>;

std::size_t position_of(const std::vector<std::string>& names, const std::string& name, const char* what) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found == names.end())
    throw Error(fmt::format("{} '{}'", what, name), "is not there",
                fmt::format("there are {}", fmt::join(names, ", ")));
  return static_cast<std::size_t>(found - names.begin());
}

std::array<std::size_t, 2> positions(const std::vector<std::string>& channels,
                                     const RunBudgetOptions& options) {
  if (channels.size() < 2)
    throw Error("the run", "has one channel only", "a jitter budget needs two that see the same particles");
  const std::size_t first = options.first.empty() ? 0 : position_of(channels, options.first, "channel");
  const std::size_t second =
      options.second.empty() ? (first == 0 ? 1 : 0) : position_of(channels, options.second, "channel");
  if (first == second)
    throw Error(fmt::format("channel '{}'", channels[first]), "is paired with itself", "name two channels");
  return {first, second};
}

// Names of a channel's methods, numbered where one is there twice.
std::vector<std::string> method_names(const std::vector<Settings>& timing) {
  std::vector<std::string> names;
  std::map<std::string, int> seen;
  for (const Settings& settings : timing) {
    const std::string name = settings.text("method", "constant_fraction");
    const int number = ++seen[name];
    names.push_back(number == 1 ? name : fmt::format("{} {}", name, number));
  }
  return names;
}

Gathered prepared(LearntChannel channel, std::size_t position) {
  if (!channel.pulse_template)
    throw Error(fmt::format("channel '{}'", channel.name),
                fmt::format("has no template ({})", channel.template_remark),
                "a budget needs the pulse shape: learn from more records");
  // Last of all, the template fit whose goodness tells how much the shapes differ.
  Settings fit("jitter budget");
  fit.set("method", "template_fit");
  channel.timing.push_back(fit);
  return {.channel = std::move(channel), .position = position};
}

// The first pulse's stamps by all methods; none if there is no pulse.
std::vector<Stamp> first_pulse(const ChannelTimer& timer, const Trace& trace, std::uint64_t record) {
  std::vector<Stamp> stamps = timer.stamps(trace, record);
  std::erase_if(stamps, [](const Stamp& stamp) { return stamp.pulse != 0; });
  return stamps;
}

void look_at_baseline(Gathered& gathered, const Trace& trace, const Conditioner& conditioner) {
  constexpr std::size_t enough = 500;  // knows the root mean square to 3 %
  if (gathered.baselines >= enough) return;
  const ConditionedTrace conditioned = conditioner(trace);
  gathered.step_v = std::max(gathered.step_v, conditioned.step_v);
  gathered.baseline_squares_v2 += std::pow(conditioned.baseline_v.uncertainty, 2);
  ++gathered.baselines;
}

bool usable(const Stamp& stamp) {
  return stamp.flags.without(doubts_of_uncertainty).empty() && std::isfinite(stamp.time_s) &&
         stamp.height_v > 0;
}

std::vector<double> differences(const std::vector<BothStamps>& rows, std::size_t first, std::size_t second) {
  std::vector<double> all;
  for (const BothStamps& row : rows) {
    if (usable(row[0][first]) && usable(row[1][second]))
      all.push_back(row[0][first].time_s - row[1][second].time_s);
  }
  return all;
}

// The method's place in each channel's list.
std::array<std::size_t, 2> chosen_method(const std::vector<BothStamps>& rows,
                                         const std::array<std::vector<std::string>, 2>& names,
                                         const std::string& wanted) {
  if (!wanted.empty())
    return {position_of(names[0], wanted, "method"), position_of(names[1], wanted, "method")};
  std::optional<std::array<std::size_t, 2>> best;
  double narrowest = 0;
  for (std::size_t m = 0; m < names[0].size(); ++m) {
    const auto other = std::find(names[1].begin(), names[1].end(), names[0][m]);
    if (other == names[1].end()) continue;
    const std::array<std::size_t, 2> both{m, static_cast<std::size_t>(other - names[1].begin())};
    const std::vector<double> found = differences(rows, both[0], both[1]);
    // A method that times few of the pulses is no choice, however narrow.
    if (found.size() < rows.size() / 2) continue;
    const double width = central_half_width(found);
    if (!best || width < narrowest) {
      best = both;
      narrowest = width;
    }
  }
  if (!best)
    throw Error("the Setup", "has no method that times both channels in half of the records",
                "name one in both channels' \"timing\"");
  return *best;
}

BudgetPair pair_of(const std::vector<BothStamps>& rows, const std::array<std::size_t, 2>& method,
                   const std::array<Gathered, 2>& gathered) {
  BudgetPair pair;
  for (std::size_t c = 0; c < 2; ++c) {
    const LearntChannel& learnt = gathered[c].channel;
    const double baseline_v = std::sqrt(gathered[c].baseline_squares_v2 /
                                        std::max<double>(1, static_cast<double>(gathered[c].baselines)));
    pair.channels[c].name = learnt.name;
    pair.channels[c].noise_samples = learnt.noise.samples_used;
    pair.channels[c].electronics = electronics_of(*learnt.pulse_template, learnt.noise, gathered[c].step_v,
                                                  baseline_v, learnt.timing[method[c]]);
  }
  for (const BothStamps& row : rows) {
    if (!usable(row[0][method[0]]) || !usable(row[1][method[1]])) {
      ++pair.left_out;
      continue;
    }
    pair.difference_s.push_back(row[0][method[0]].time_s - row[1][method[1]].time_s);
    for (std::size_t c = 0; c < 2; ++c) {
      const Stamp& stamp = row[c][method[c]];
      pair.channels[c].height_v.push_back(stamp.height_v);
      pair.channels[c].bound_s.push_back(stamp.bound_s);
      const Stamp& fit = row[c].back();
      pair.channels[c].goodness.push_back(usable(fit) ? fit.goodness : not_known);
    }
  }
  return pair;
}

}  // namespace

RunBudget budget_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                        const RunBudgetOptions& options) {
  std::vector<LearntChannel> learnt = learn_channels(*open_records(files, setup.input), setup, {});
  std::vector<std::string> channels;
  for (const LearntChannel& channel : learnt) channels.push_back(channel.name);
  const std::array<std::size_t, 2> at = positions(channels, options);
  const std::array<std::vector<std::string>, 2> names{method_names(learnt[at[0]].timing),
                                                      method_names(learnt[at[1]].timing)};
  std::array<Gathered, 2> gathered{prepared(learnt[at[0]], at[0]), prepared(learnt[at[1]], at[1])};
  std::deque<ChannelTimer> timers;
  std::vector<Conditioner> conditioners;
  for (std::uint16_t c = 0; c < 2; ++c) {
    const LearntChannel& channel = gathered[c].channel;
    timers.emplace_back(channel, c, std::vector<std::uint16_t>(channel.timing.size()));
    conditioners.emplace_back(channel.conditioning, channel.interval_s);
  }
  const std::unique_ptr<RecordReader> reader = open_records(files, setup.input);
  std::vector<BothStamps> rows;
  std::uint64_t records = 0, alone = 0;
  while (records < options.most_records) {
    const RecordBlock block = reader->next_block(
        static_cast<std::size_t>(std::min<std::uint64_t>(128, options.most_records - records)));
    if (block.records.empty()) break;
    records += block.records.size();
    for (const Record& record : block.records) {
      BothStamps both;
      for (std::size_t c = 0; c < 2; ++c) {
        const Trace& trace = record.traces[at[c]];
        if (trace.empty()) continue;
        both[c] = first_pulse(timers[c], trace, record.index);
        look_at_baseline(gathered[c], trace, conditioners[c]);
      }
      if (both[0].empty() || both[1].empty()) {
        ++alone;
      } else {
        rows.push_back(std::move(both));
      }
    }
  }
  const std::array<std::size_t, 2> method = chosen_method(rows, names, options.method);
  RunBudget run{.pair = pair_of(rows, method, gathered), .account = reader->account()};
  run.pair.method = names[0][method[0]];
  run.pair.left_out += alone;
  return run;
}

}  // namespace firstedge
