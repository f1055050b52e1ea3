#include "firstedge/clock/counter_model.hpp"

#include "firstedge/clock/second_labels.hpp"
#include "firstedge/clock/slip_search.hpp"
#include "firstedge/clock/time_scales.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

std::string place_of(std::size_t edge) {
  return fmt::format("edge {}", edge + 1);
}

void check(std::span<const SecondEdge> edges, const CounterClockOptions& options) {
  if (!(options.rate_hz > 0) || !std::isfinite(options.rate_hz))
    throw Error("counter", fmt::format("a nominal rate of {} Hz", options.rate_hz), "give ticks a second");
  if (options.noise && !(options.noise->edge_s > 0))
    throw Error("counter", "the noise of an edge given is not above 0", "give its standard deviation");
  if (edges.size() < CounterClock::fewest_edges)
    throw Error("edges", fmt::format("{} edges are too few to tie a counter to", edges.size()),
                fmt::format("record at least {}", CounterClock::fewest_edges));
  for (std::size_t i = 1; i < edges.size(); ++i) {
    const CounterReading& before = edges[i - 1].counter;
    const CounterReading& here = edges[i].counter;
    if (here.ticks < before.ticks || (here.ticks == before.ticks && here.fraction <= before.fraction))
      throw Error(place_of(i),
                  fmt::format("the counter does not rise: {} after {}", here.ticks, before.ticks),
                  "give edges in order, and one piece of the run for each start of the counter");
  }
}

std::vector<CounterTime> times_of(std::span<const SecondEdge> edges, double rate_hz) {
  std::vector<CounterTime> times;
  for (const SecondEdge& edge : edges)
    times.push_back(counter_time(edge.counter, edges.front().counter, rate_hz));
  return times;
}

std::optional<std::int64_t> tai_label(const SecondEdge& edge, std::size_t position,
                                      const LeapSeconds& leap_seconds) {
  if (!edge.label) return std::nullopt;
  const Instant tai = on_scale(*edge.label, TimeScale::tai, leap_seconds);
  if (tai.femtoseconds != 0)
    throw Error(place_of(position), fmt::format("{} is not a whole second", to_text(*edge.label)),
                "label an edge with the second that it marks");
  return tai.seconds;
}

class ModelBuilder {
 public:
  ModelBuilder(std::span<const SecondEdge> edges, const LeapSeconds& leap_seconds,
               const CounterClockOptions& options)
      : edges_(edges),
        options_(options),
        times_(times_of(edges, options.rate_hz)),
        chain_(chain_edges(times_, options.chain)) {
    number(leap_seconds);
    decide_on_corrections();
  }

  CounterModel model() {
    model_.rate = chain_.seconds_per_count_s - 1;
    model_.origin = edges_[chain_.links.front().edge].counter;
    model_.origin_tai = {TimeScale::tai, numbers_.first_label, 0};
    PhaseSeries series = phases();
    take_out_known(series);
    leave_out_wild(series);
    const double smallest_s =
        std::isfinite(options_.reference_period_s) ? 0.5 * options_.reference_period_s : 0;
    const SlipSearch search = find_slips(std::move(series), known_, smallest_s);
    keep_slips(search);
    keep_nodes(search.series, search.slips);
    keep_account();
    return std::move(model_);
  }

 private:
  void number(const LeapSeconds& leap_seconds) {
    std::vector<std::int64_t> counted;
    std::vector<bool> jumped;
    std::vector<std::optional<std::int64_t>> labels;
    for (const EdgeChain::Link& link : chain_.links) {
      counted.push_back(link.second);
      jumped.push_back(link.jumped);
      labels.push_back(tai_label(edges_[link.edge], link.edge, leap_seconds));
    }
    if (std::none_of(labels.begin(), labels.end(), [](const auto& label) { return label.has_value(); }))
      throw Error("edges", "none that is a second says which second it marks", "label at least one edge");
    numbers_ = number_seconds(counted, jumped, labels);
  }

  void decide_on_corrections() {
    const auto with = std::count_if(chain_.links.begin(), chain_.links.end(), [&](const auto& link) {
      return std::isfinite(edges_[link.edge].correction_s);
    });
    model_.corrected = 2 * static_cast<std::size_t>(with) >= chain_.links.size();
  }

  // True less nominal time of each second, the mean rate taken out.
  PhaseSeries phases() {
    PhaseSeries series;
    const CounterTime& origin = times_[chain_.links.front().edge];
    for (std::size_t i = 0; i < chain_.links.size(); ++i) {
      const EdgeChain::Link& link = chain_.links[i];
      const double correction = edges_[link.edge].correction_s;
      const bool corrected = !model_.corrected || std::isfinite(correction);
      const CounterTime& time = times_[link.edge];
      const double rest_s = time.rest_s - origin.rest_s;
      const std::int64_t whole = link.second + numbers_.added[i] - (time.seconds - origin.seconds);
      const double since = static_cast<double>(time.seconds - origin.seconds) + rest_s;
      const double late_s = options_.edge_delay_s + (model_.corrected && corrected ? correction : 0);
      series.time_s.push_back(since);
      series.phase_s.push_back(static_cast<double>(whole) - rest_s + late_s - model_.rate * since);
      series.used.push_back(corrected && !numbers_.unclear[i]);
      model_.account.unclear += numbers_.unclear[i] ? 1 : 0;
      model_.account.uncorrected += corrected || numbers_.unclear[i] ? 0 : 1;
    }
    return series;
  }

  // Jumps that the chain or the labels tell: their rough sizes are taken out at once.
  void take_out_known(PhaseSeries& series) {
    double sum_s = 0;
    rough_s_.assign(series.size(), 0);
    for (std::size_t i = 1; i < series.size(); ++i) {
      const std::int64_t seconds = numbers_.added[i] - numbers_.added[i - 1];
      if (chain_.links[i].jumped || seconds != 0) {
        known_.push_back(i);
        sum_s += chain_.links[i].jump_s - static_cast<double>(seconds);
      }
      rough_s_[i] = sum_s;
      series.phase_s[i] += sum_s;
    }
  }

  void keep_slips(const SlipSearch& search) {
    model_.jumped_s = rough_s_;
    for (const PhaseSlip& slip : search.slips) {
      // The phase rises where the edges come earlier by the counter.
      for (std::size_t i = slip.at; i < model_.jumped_s.size(); ++i) model_.jumped_s[i] -= slip.size_s.value;
      CounterSlip told{
          .edge_before = chain_.links[slip.at - 1].edge,
          .edge_after = chain_.links[slip.at].edge,
          .size_s = {rough_s_[slip.at] - rough_s_[slip.at - 1] - slip.size_s.value, slip.size_s.uncertainty}};
      model_.slips.push_back(classified(told));
    }
  }

  // What the counter lost or gained is whole in its own time, what the labels did in true time.
  CounterSlip classified(CounterSlip slip) const {
    const double true_size_s = slip.size_s.value;
    const double counter_size_s = true_size_s / (1 + model_.rate);
    slip.size_s.value = counter_size_s;
    const auto is_multiple = [&](double size_s, double unit_s) {
      const double count = std::round(size_s / unit_s);
      return count != 0 && slip.size_s.uncertainty < unit_s / 6 &&
             std::abs(size_s - count * unit_s) <= 3 * slip.size_s.uncertainty;
    };
    if (is_multiple(counter_size_s, 1) || is_multiple(true_size_s, 1)) {
      slip.kind = CounterSlip::Kind::whole_seconds;
      slip.count = std::llround(true_size_s);
      if (!is_multiple(counter_size_s, 1)) slip.size_s.value = true_size_s;
    } else if (is_multiple(counter_size_s, options_.reference_period_s)) {
      slip.kind = CounterSlip::Kind::reference_periods;
      slip.count = std::llround(counter_size_s / options_.reference_period_s);
    }
    return slip;
  }

  // The edges that are used; a jump before one that is not loosens the next that is.
  void keep_nodes(const PhaseSeries& series, const std::vector<PhaseSlip>& slips) {
    std::vector<double> jumped_s;
    auto slip = slips.begin();
    double loosens = 0;
    for (std::size_t i = 0; i < series.size(); ++i) {
      if (slip != slips.end() && slip->at == i) {
        loosens = loose_variance;
        ++slip;
      }
      if (!series.used[i]) continue;
      model_.edge.push_back(chain_.links[i].edge);
      model_.nodes.push_back({.time_s = series.time_s[i], .phase = series.phase_s[i], .loosens = loosens});
      jumped_s.push_back(model_.jumped_s[i]);
      loosens = 0;
    }
    model_.jumped_s = std::move(jumped_s);
  }

  void keep_account() {
    EdgeAccount& account = model_.account;
    account.given = edges_.size();
    account.used = model_.nodes.size();
    account.wild = chain_.links.size() - account.used - account.uncorrected - account.unclear;
    account.doubled = chain_.doubled.size();
    account.spurious = chain_.spurious.size();
    account.missed = chain_.missed;
    account.labelled = numbers_.labels;
    account.labels_wrong = numbers_.wrong;
    if (account.used < CounterClock::fewest_edges)
      throw Error("edges", fmt::format("only {} of {} can be used as seconds", account.used, account.given),
                  "check the nominal rate, and what triggers the channel");
  }

  std::span<const SecondEdge> edges_;
  const CounterClockOptions& options_;
  std::vector<CounterTime> times_;
  EdgeChain chain_;
  SecondNumbers numbers_;
  std::vector<std::size_t> known_;  // links before which the counter jumped
  std::vector<double> rough_s_;     // sum of the rough sizes
  CounterModel model_;
};

}  // namespace

CounterModel counter_model(std::span<const SecondEdge> edges, const LeapSeconds& leap_seconds,
                           const CounterClockOptions& options) {
  check(edges, options);
  return ModelBuilder(edges, leap_seconds, options).model();
}

}  // namespace firstedge
