#include "firstedge/clock/edge_chain.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <limits>

namespace firstedge {
namespace {

// Median of whole seconds over counter seconds among near neighbours.
double mean_rate(std::span<const CounterTime> times, double most_rate_error) {
  std::vector<double> ratios;
  constexpr std::size_t reach = 3;
  for (std::size_t i = 0; i < times.size(); ++i) {
    for (std::size_t j = i + 1; j < std::min(i + 1 + reach, times.size()); ++j) {
      const double counted = interval_s(times[j], times[i]);
      const double whole = std::round(counted);
      if (whole >= 1 && std::abs(counted - whole) <= most_rate_error * whole)
        ratios.push_back(whole / counted);
    }
  }
  if (ratios.empty())
    throw Error("edges", "no two neighbours lie a whole number of seconds apart",
                "check the counter's nominal rate, or that these are pulses per second");
  const auto middle = ratios.begin() + static_cast<std::ptrdiff_t>(ratios.size() / 2);
  std::nth_element(ratios.begin(), middle, ratios.end());
  return *middle;
}

// How one edge follows another.
struct Step {
  double cost = 0;
  double seconds = 0;  // whole
  double jump_s = 0;   // 0 where it keeps step
};

class Chainer {
 public:
  Chainer(std::span<const CounterTime> times, const EdgeChainOptions& options)
      : times_(times), options_(options), rate_(mean_rate(times, options.most_rate_error)) {}

  EdgeChain chain() const {
    const std::vector<std::size_t> path = cheapest_path();
    EdgeChain chain;
    chain.seconds_per_count_s = rate_;
    for (std::size_t k = 0; k < path.size(); ++k) {
      EdgeChain::Link link{.edge = path[k]};
      if (k > 0) {
        const Step step = step_between(path[k - 1], path[k]);
        link.second = chain.links.back().second + static_cast<std::int64_t>(step.seconds);
        link.jumped = step.cost >= jump_cost;
        link.jump_s = step.jump_s;
        chain.missed += static_cast<std::uint64_t>(std::max(step.seconds - 1, 0.0));
      }
      chain.links.push_back(link);
    }
    sort_out_the_rest(chain);
    return chain;
  }

 private:
  Step step_between(std::size_t before, std::size_t after) const {
    const double interval = interval_s(times_[after], times_[before]) * rate_;
    const double whole = std::round(interval);
    const double off = interval - whole;
    const double allowed = options_.tolerance_s + options_.rate_wander * (whole - 1);
    if (whole >= 1 && std::abs(off) <= allowed) return {0.01 * (off / allowed) * (off / allowed), whole, 0};
    return {jump_cost, whole, off};
  }

  std::vector<std::size_t> cheapest_path() const {
    const std::size_t count = times_.size();
    constexpr std::size_t none = std::numeric_limits<std::size_t>::max();
    std::vector<double> cost(count);
    std::vector<std::size_t> before(count, none);
    std::size_t best_end = 0;
    double best = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < count; ++i) {
      cost[i] = static_cast<double>(i);
      for (std::size_t back = 1; back <= std::min(i, chain_window); ++back) {
        const std::size_t j = i - back;
        const double through = cost[j] + static_cast<double>(back - 1) + step_between(j, i).cost;
        if (through < cost[i]) {
          cost[i] = through;
          before[i] = j;
        }
      }
      const double whole = cost[i] + static_cast<double>(count - 1 - i);
      if (whole < best) {
        best = whole;
        best_end = i;
      }
    }
    std::vector<std::size_t> path;
    for (std::size_t i = best_end; i != none; i = before[i]) path.push_back(i);
    std::reverse(path.begin(), path.end());
    return path;
  }

  void sort_out_the_rest(EdgeChain& chain) const {
    std::size_t next = 0;
    for (std::size_t i = 0; i < times_.size(); ++i) {
      if (next < chain.links.size() && chain.links[next].edge == i) {
        ++next;
        continue;
      }
      double nearest = std::numeric_limits<double>::infinity();
      if (next > 0) nearest = interval_s(times_[i], times_[chain.links[next - 1].edge]);
      if (next < chain.links.size())
        nearest = std::min(nearest, interval_s(times_[chain.links[next].edge], times_[i]));
      (nearest <= doubled_within_s ? chain.doubled : chain.spurious).push_back(i);
    }
  }

  std::span<const CounterTime> times_;
  EdgeChainOptions options_;
  double rate_;
};

}  // namespace

EdgeChain chain_edges(std::span<const CounterTime> times, const EdgeChainOptions& options) {
  if (times.size() < 2) throw Error("edges", "there are fewer than two", "record pulses for some minutes");
  return Chainer(times, options).chain();
}

}  // namespace firstedge
