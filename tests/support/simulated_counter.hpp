// A simulated digitizer counter beside true time: its rate walks, its edges of a pulse per second have noise.
#pragma once

#include "firstedge/clock/counter_clock.hpp"

#include "support/random.hpp"

#include <cmath>
#include <cstdint>
#include <vector>

namespace firstedge::test {

struct CounterPlan {
  double rate_hz = 312.5e6;
  std::size_t seconds = 600;
  double mean_rate = 3e-6;  ///< true seconds in a counter second, less 1
  ClockNoise noise{5e-9, 1e-10, 1e-10};
  std::int64_t first_second = 1'795'588'620;  ///< UTC
  std::uint64_t seed = 1;
};

/// Time goes in steps of a quarter second.
class SimulatedCounter {
 public:
  explicit SimulatedCounter(const CounterPlan& plan) : plan_(plan), random_(plan.seed) {
    constexpr double step = 0.25;
    double rate = plan.mean_rate, offset = 0;
    for (std::size_t i = 0; i <= 4 * plan.seconds; ++i) {
      offset_s_.push_back(offset);
      // Walk of the rate and of its integral over a step, with their covariance q t^2/2.
      const double a = random_.normal(0, 1), b = random_.normal(0, 1), c = random_.normal(0, 1);
      const double walk = plan.noise.rate_walk * std::sqrt(step);
      offset += rate * step + walk * step * (0.5 * a + b / std::sqrt(12.0)) +
                plan.noise.phase_walk * std::sqrt(step) * c;
      rate += walk * a;
    }
  }

  /// The counter at a true time of so many quarter seconds and `late_s` since the first second; jumped_s is
  /// added to what it has counted.
  CounterReading reading(std::size_t quarter, double late_s = 0, double jumped_s = 0) const {
    const double rest = plan_.rate_hz * (late_s - offset_s_[quarter] + jumped_s) + 0.25;
    const auto whole = static_cast<std::int64_t>(std::floor(rest));
    const auto quarters = static_cast<std::int64_t>(plan_.rate_hz / 4);  // a whole number
    return {1'000'000'007 + quarters * static_cast<std::int64_t>(quarter) + whole, rest - std::floor(rest)};
  }

  /// A clean edge of the second with this number, labelled; its noise drawn.
  SecondEdge edge(std::size_t second, double late_s = 0, double jumped_s = 0) {
    const double noise_s = random_.normal(0, plan_.noise.edge_s);
    return {.counter = reading(4 * second, late_s + noise_s, jumped_s),
            .label = Instant{TimeScale::utc, plan_.first_second + static_cast<std::int64_t>(second), 0}};
  }
  std::vector<SecondEdge> edges() {
    std::vector<SecondEdge> all;
    for (std::size_t second = 0; second < plan_.seconds; ++second) all.push_back(edge(second));
    return all;
  }

  /// Error of the clock at a quarter of a second, in s.
  double error_s(const CounterInstant& found, const LeapSeconds& leap_seconds, std::size_t quarter) const {
    Instant truth = leap_seconds.tai_of_utc({TimeScale::utc, plan_.first_second, 0});
    truth.seconds += static_cast<std::int64_t>(quarter / 4);
    truth.femtoseconds = static_cast<std::int64_t>(quarter % 4) * 250'000'000'000'000;
    return difference_s(found.tai, truth);
  }

  CounterClockOptions options() const { return {.rate_hz = plan_.rate_hz}; }

 private:
  CounterPlan plan_;
  Random random_;
  std::vector<double> offset_s_;  // true less counted time
};

}  // namespace firstedge::test
