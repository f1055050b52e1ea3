#include "firstedge/clock/clock_noise.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <vector>

namespace firstedge {
namespace {

// Decimal logarithms of the ratios.
struct Place {
  double phase = 0, rate = 0;
};
constexpr double lowest_phase = -9, highest_phase = 2;
constexpr double lowest_rate = -16, highest_rate = 0;

// Edges without any noise have this one, so that ratios to it exist.
constexpr double smallest_noise_s = 1e-15;

WalkRatios ratios_at(const Place& place) {
  return {std::pow(10, place.phase), std::pow(10, place.rate)};
}

// Phases are given to the filter in units near their own noise; the scale itself drops out.
class Likelihood {
 public:
  explicit Likelihood(std::span<const PhaseNode> nodes) : nodes_(nodes.begin(), nodes.end()) {
    std::vector<double> steps;
    for (std::size_t i = 1; i < nodes_.size(); ++i)
      steps.push_back(std::abs(nodes_[i].phase - nodes_[i - 1].phase));
    const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
    std::nth_element(steps.begin(), middle, steps.end());
    unit_s_ = std::max(*middle, smallest_noise_s);
    for (PhaseNode& node : nodes_) node.phase /= unit_s_;
  }

  // Logarithm, with the most likely scale, up to a constant.
  double at(const Place& place) const {
    const PhaseTrack track = filtered_track(nodes_, ratios_at(place));
    const auto terms = static_cast<double>(track.terms);
    return -0.5 * (track.log_variances + terms * std::log(track.squares / terms));
  }

  double edge_s(const Place& place) const {
    const PhaseTrack track = filtered_track(nodes_, ratios_at(place));
    return unit_s_ * std::sqrt(track.squares / static_cast<double>(track.terms));
  }

 private:
  std::vector<PhaseNode> nodes_;
  double unit_s_ = 1;
};

struct Best {
  Place place;
  double likelihood = -std::numeric_limits<double>::infinity();

  void keep(const Place& tried, const Likelihood& likelihood_of) {
    const double found = likelihood_of.at(tried);
    if (found > likelihood) *this = {tried, found};
  }
};

Best coarse_best(const Likelihood& likelihood) {
  Best best;
  for (double phase = lowest_phase; phase <= highest_phase; phase += 2) {
    for (double rate = lowest_rate; rate <= highest_rate; rate += 2) best.keep({phase, rate}, likelihood);
  }
  return best;
}

Best refined(Best best, const Likelihood& likelihood) {
  constexpr double finest = 0.02;  // 5 % of a factor
  for (double step = 1; step > finest;) {
    const Place from = best.place;
    const double before = best.likelihood;
    for (const double way : {-step, step}) {
      best.keep({std::clamp(from.phase + way, lowest_phase, highest_phase), from.rate}, likelihood);
      best.keep({from.phase, std::clamp(from.rate + way, lowest_rate, highest_rate)}, likelihood);
      best.keep({std::clamp(from.phase + way, lowest_phase, highest_phase),
                 std::clamp(from.rate - way, lowest_rate, highest_rate)},
                likelihood);
    }
    if (!(best.likelihood > before)) step /= 2;
  }
  return best;
}

// The largest walk of the rate that the edges do not speak against.
double raised_rate(const Best& best, const Likelihood& likelihood) {
  double low = best.place.rate, high = highest_rate;
  constexpr int halvings = 10;  // of at most 16 decades: to 4 % of a factor
  for (int i = 0; i < halvings; ++i) {
    const double middle = 0.5 * (low + high);
    const bool likely = likelihood.at({best.place.phase, middle}) >= best.likelihood - 0.5;
    (likely ? low : high) = middle;
  }
  return low;
}

}  // namespace

ClockNoise most_likely_noise(std::span<const PhaseNode> nodes) {
  assert(nodes.size() >= 8);
  const Likelihood likelihood(nodes);
  Best best = refined(coarse_best(likelihood), likelihood);
  best.place.rate = raised_rate(best, likelihood);
  const WalkRatios walks = ratios_at(best.place);
  const double edge_s = std::max(likelihood.edge_s(best.place), smallest_noise_s);
  return {edge_s, edge_s * std::sqrt(walks.phase), edge_s * std::sqrt(walks.rate)};
}

WalkRatios ratios_of(const ClockNoise& noise) {
  const double phase = noise.phase_walk / noise.edge_s, rate = noise.rate_walk / noise.edge_s;
  return {phase * phase, rate * rate};
}

}  // namespace firstedge
