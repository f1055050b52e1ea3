#include "firstedge/stats/monte_carlo_propagation.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/input_checks.hpp"
#include "firstedge/stats/seeds.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <random>

#include <Eigen/Eigenvalues>
#include <boost/random/gamma_distribution.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t trials_in_block = 10'000;
// JCGM 101 looks from two blocks on; but four figures of two blocks agree by chance too often.
constexpr std::size_t fewest_blocks = 10;

// Standardised draws: centre 0, and scaled so that the estimate's uncertainty is 1 (see
// core/distribution.hpp).
class Standardised {
 public:
  explicit Standardised(std::uint64_t seed) : engine_(seed) {}

  double normal() { return normal_(engine_); }
  double draw(Distribution distribution, double degrees_of_freedom) {
    switch (distribution) {
      case Distribution::normal:
        return normal();
      case Distribution::rectangular:
        return std::numbers::sqrt3 * (2 * uniform_(engine_) - 1);
      case Distribution::triangular:
        return std::sqrt(6.0) * (uniform_(engine_) + uniform_(engine_) - 1);
      case Distribution::u_shaped:
        return std::numbers::sqrt2 * std::sin(std::numbers::pi * (2 * uniform_(engine_) - 1));
      case Distribution::student_t:
        return student(degrees_of_freedom);
    }
    return 0;
  }

 private:
  // A normal draw over the root of a chi-square over its degrees of freedom.
  double student(double freedom) {
    const double above = normal();
    if (std::isinf(freedom)) return above;
    boost::random::gamma_distribution<> chi_square(freedom / 2, 2.0);
    return above / std::sqrt(chi_square(engine_) / freedom);
  }

  std::mt19937_64 engine_;
  boost::random::normal_distribution<> normal_;
  boost::random::uniform_01<> uniform_;
};

// The matrix whose product with independent standard normals has the correlation asked for.
Eigen::MatrixXd root_of_correlation(const InputQuantities& inputs) {
  const auto n = static_cast<Eigen::Index>(inputs.estimates.size());
  const Eigen::MatrixXd correlation = Eigen::Map<const Eigen::MatrixXd>(inputs.correlation.data(), n, n);
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solved(correlation);
  // A full correlation has eigenvalues of 0, which rounding may leave this far below.
  const double rounding = 1e-12 * static_cast<double>(n);
  if (solved.eigenvalues().minCoeff() < -rounding)
    throw Error("propagation", "the correlations contradict each other (not positive semidefinite)",
                "give coefficients that can hold together");
  return solved.eigenvectors() * solved.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
}

class Draws {
 public:
  Draws(const Measurand& measurand, const DrawnInputs& drawn, const MonteCarloOptions& options)
      : measurand_(measurand), drawn_(drawn), options_(options) {
    check();
    if (any_correlated(drawn_.inputs)) root_ = root_of_correlation(drawn_.inputs);
  }

  // The outputs of the trials of one block.
  std::vector<double> block(std::size_t index, std::size_t trials) {
    Standardised random(mixed_seed(options_.seed, index));
    const std::size_t n = drawn_.inputs.estimates.size();
    std::vector<double> at(n), outputs;
    outputs.reserve(trials);
    for (std::size_t trial = 0; trial < trials; ++trial) {
      for (std::size_t i = 0; i < n; ++i)
        at[i] = random.draw(distribution_of(i), drawn_.inputs.estimates[i].degrees_of_freedom);
      if (root_.size() > 0) correlate(at);
      for (std::size_t i = 0; i < n; ++i)
        at[i] = drawn_.inputs.estimates[i].value + drawn_.inputs.estimates[i].uncertainty * at[i];
      outputs.push_back(measurand_(at));
      if (!std::isfinite(outputs.back()))
        throw Error("propagation", "the function is not finite for values that the inputs may have",
                    "use distributions inside the function's range");
    }
    return outputs;
  }

 private:
  Distribution distribution_of(std::size_t i) const {
    return drawn_.distributions.empty() ? Distribution::normal : drawn_.distributions[i];
  }

  void correlate(std::vector<double>& at) const {
    const Eigen::Map<Eigen::VectorXd> values(at.data(), static_cast<Eigen::Index>(at.size()));
    const Eigen::VectorXd together = root_ * values;
    std::copy(together.begin(), together.end(), at.begin());
  }

  void check() const {
    check_inputs(drawn_.inputs);
    const std::size_t n = drawn_.inputs.estimates.size();
    if (!drawn_.distributions.empty() && drawn_.distributions.size() != n)
      throw Error("propagation",
                  fmt::format("{} distributions for {} inputs", drawn_.distributions.size(), n),
                  "give one for each");
    if (!(options_.coverage > 0 && options_.coverage < 1))
      throw Error("propagation", fmt::format("a coverage of {} is not between 0 and 1", options_.coverage),
                  "give a share such as 0.95");
    if (!any_correlated(drawn_.inputs)) return;
    for (std::size_t i = 0; i < n; ++i) {
      if (distribution_of(i) != Distribution::normal)
        throw Error(fmt::format("propagation, input {}", i), "is not normal, beside correlated inputs",
                    "give correlated inputs as functions of independent ones");
    }
  }

  const Measurand& measurand_;
  const DrawnInputs& drawn_;
  const MonteCarloOptions& options_;
  Eigen::MatrixXd root_;
};

// JCGM 101:2008, 7.7: q of M draws between the ends, r draws below.
Interval interval_from(std::span<const double> sorted, std::size_t below, std::size_t held) {
  return {.low = sorted[below], .high = sorted[std::min(below + held, sorted.size() - 1)]};
}

std::size_t held_by(double coverage, std::size_t trials) {
  const auto held = static_cast<std::size_t>(std::lround(coverage * static_cast<double>(trials)));
  return std::min(held, trials - 1);
}

Interval shortest_of(std::span<const double> sorted, std::size_t held) {
  std::size_t best = 0;
  for (std::size_t below = 0; below + held < sorted.size(); ++below) {
    if (sorted[below + held] - sorted[below] < sorted[best + held] - sorted[best]) best = below;
  }
  return interval_from(sorted, best, held);
}

Drawn drawn_of(std::vector<double> outputs, double coverage) {
  Drawn drawn;
  const double origin = outputs.front();
  const auto count = static_cast<double>(outputs.size());
  double sum = 0, squares = 0;
  for (const double one : outputs) sum += one - origin;
  drawn.mean = origin + sum / count;
  for (const double one : outputs) squares += (one - drawn.mean) * (one - drawn.mean);
  drawn.deviation = std::sqrt(squares / (count - 1));
  std::sort(outputs.begin(), outputs.end());
  const std::size_t held = held_by(coverage, outputs.size());
  drawn.symmetric = interval_from(outputs, (outputs.size() - held) / 2, held);
  drawn.shortest = shortest_of(outputs, held);
  drawn.sorted = std::move(outputs);
  return drawn;
}

// The four figures of 7.9.4 over the blocks so far.
class Settling {
 public:
  void add(const Drawn& block) {
    const std::array<double, 4> figures{block.mean, block.deviation, block.symmetric.low,
                                        block.symmetric.high};
    if (blocks_ == 0) origin_ = figures;
    ++blocks_;
    for (std::size_t i = 0; i < figures.size(); ++i) {
      const double beyond = figures.at(i) - origin_.at(i);
      sums_.at(i) += beyond;
      squares_.at(i) += beyond * beyond;
    }
  }

  bool settled(int significant_digits) const {
    if (blocks_ < fewest_blocks) return false;
    const double count = static_cast<double>(blocks_);
    const double uncertainty = origin_.at(1) + sums_.at(1) / count;
    // 7.9.2: u = c 10^l with c of so many digits; the tolerance is half of 10^l.
    const double tolerance =
        uncertainty > 0 ? 0.5 * std::pow(10.0, std::floor(std::log10(uncertainty)) - (significant_digits - 1))
                        : std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < sums_.size(); ++i) {
      const double variance = (squares_.at(i) - sums_.at(i) * sums_.at(i) / count) / (count - 1);
      if (!(2 * std::sqrt(std::max(variance, 0.0) / count) < tolerance)) return false;
    }
    return true;
  }

 private:
  std::size_t blocks_ = 0;
  std::array<double, 4> origin_{}, sums_{}, squares_{};
};

void append(std::vector<double>& all, const std::vector<double>& more) {
  all.insert(all.end(), more.begin(), more.end());
}

}  // namespace

Drawn draw_output(const Measurand& measurand, const DrawnInputs& drawn, std::size_t trials,
                  const MonteCarloOptions& options) {
  if (trials < fewest_trials || trials > most_trials_ever)
    throw Error("propagation", fmt::format("{} trials are asked for", trials),
                fmt::format("draw from {} to {}", fewest_trials, most_trials_ever));
  Draws draws(measurand, drawn, options);
  std::vector<double> outputs;
  outputs.reserve(trials);
  for (std::size_t index = 0; outputs.size() < trials; ++index)
    append(outputs, draws.block(index, std::min(trials_in_block, trials - outputs.size())));
  return drawn_of(std::move(outputs), options.coverage);
}

Drawn draw_output_adaptively(const Measurand& measurand, const DrawnInputs& drawn,
                             const AdaptiveTrials& adaptive, const MonteCarloOptions& options) {
  if (adaptive.significant_digits < 1 || adaptive.significant_digits > 4)
    throw Error("propagation",
                fmt::format("{} significant digits are asked for", adaptive.significant_digits),
                "ask for 1 to 4");
  if (adaptive.most_trials < fewest_blocks * trials_in_block || adaptive.most_trials > most_trials_ever)
    throw Error("propagation", fmt::format("at most {} trials are allowed", adaptive.most_trials),
                fmt::format("allow from {} to {}", fewest_blocks * trials_in_block, most_trials_ever));
  Draws draws(measurand, drawn, options);
  const double for_coverage = std::ceil(100 / (1 - options.coverage));
  const std::size_t most_in_block = adaptive.most_trials / fewest_blocks;
  if (for_coverage > static_cast<double>(most_in_block))
    throw Error("propagation",
                fmt::format("a coverage of {} needs more trials than allowed", options.coverage),
                "lower the coverage or allow more trials");
  const std::size_t trials = std::max(trials_in_block, static_cast<std::size_t>(for_coverage));
  std::vector<double> outputs;
  Settling settling;
  bool settled = false;
  for (std::size_t index = 0; !settled && outputs.size() + trials <= adaptive.most_trials; ++index) {
    std::vector<double> block = draws.block(index, trials);
    append(outputs, block);
    settling.add(drawn_of(std::move(block), options.coverage));
    settled = settling.settled(adaptive.significant_digits);
  }
  Drawn result = drawn_of(std::move(outputs), options.coverage);
  result.settled = settled;
  return result;
}

}  // namespace firstedge
