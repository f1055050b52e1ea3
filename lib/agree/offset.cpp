#include "firstedge/agree/offset.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/least_squares.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numeric>

#include <gsl/gsl_cdf.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double rarer_than_chance = 1e-3;
constexpr std::size_t fewest_in_stretch = 4;
constexpr std::size_t most_blocks = 128;

// The uncertainty that the means of consecutive stretches show, where it is more than single values explain.
void judge_stretches(std::span<const double> kept, Offset& offset) {
  if (kept.size() < fewest_in_stretch * stretches_compared) return;
  std::vector<double> means;
  double chi_square = 0;
  for (std::size_t i = 0; i < stretches_compared; ++i) {
    const std::size_t begin = i * kept.size() / stretches_compared;
    const std::size_t end = (i + 1) * kept.size() / stretches_compared;
    means.push_back(moments(kept.subspan(begin, end - begin)).mean.value);
    const double beyond = means.back() - offset.mean_s.value;
    chi_square += beyond * beyond * static_cast<double>(end - begin);
  }
  chi_square /= offset.spread_s * offset.spread_s;
  constexpr auto freedom = static_cast<double>(stretches_compared - 1);
  if (!(chi_square_probability(chi_square, freedom) < rarer_than_chance)) return;
  offset.wanders = true;
  offset.mean_s.uncertainty = moments(means).mean.uncertainty;
  offset.mean_s.degrees_of_freedom = freedom;
}

// Ranks from 0, equal values sharing the mean of theirs.
std::vector<double> ranks_of(std::span<const double> values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
  std::vector<double> ranks(values.size());
  for (std::size_t begin = 0; begin < order.size();) {
    std::size_t end = begin;
    while (end < order.size() && values[order[end]] == values[order[begin]]) ++end;
    for (std::size_t i = begin; i < end; ++i)
      ranks[order[i]] = (static_cast<double>(begin) + static_cast<double>(end) - 1) / 2;
    begin = end;
  }
  return ranks;
}

// Sums about the means.
struct Line {
  double xx = 0, xy = 0, yy = 0;
  std::size_t count = 0;

  double correlation() const { return xx > 0 && yy > 0 ? xy / std::sqrt(xx * yy) : nan; }
  double freedom() const { return static_cast<double>(count) - 2; }
  Estimate slope() const {
    if (!(xx > 0) || count < 3) return {nan, nan};
    const double rest = std::max(0.0, yy - xy * xy / xx);
    return {xy / xx, std::sqrt(rest / freedom() / xx), freedom()};
  }
};

Line line_through(std::span<const double> x, std::span<const double> y) {
  Line line;
  line.count = x.size();
  if (x.empty()) return line;
  const double x0 = moments(x).mean.value, y0 = moments(y).mean.value;
  for (std::size_t i = 0; i < x.size(); ++i) {
    line.xx += (x[i] - x0) * (x[i] - x0);
    line.xy += (x[i] - x0) * (y[i] - y0);
    line.yy += (y[i] - y0) * (y[i] - y0);
  }
  return line;
}

double probability_of(double t, double freedom) {
  return freedom > 0 && !std::isnan(t) ? 2 * gsl_cdf_tdist_Q(std::abs(t), freedom) : 1;
}

}  // namespace

Offset robust_offset(std::span<const double> differences_s) {
  const std::vector<double> sorted = finite_sorted(differences_s);
  if (sorted.size() < 2)
    throw Error("offset", "fewer than two instants of the lists belong together",
                "widen the window, or check the time scales and the expected difference");
  Offset offset;
  offset.median_s = quantile_of_sorted(sorted, 0.5);
  offset.limit_s = outlier_widths * central_half_width_of_sorted(sorted);
  std::vector<double> kept;
  for (const double one : differences_s) {
    if (std::isfinite(one) && std::abs(one - offset.median_s) <= offset.limit_s) kept.push_back(one);
  }
  const Moments about = moments(kept);
  offset.used = kept.size();
  offset.outliers = sorted.size() - kept.size();
  offset.spread_s = about.deviation.value;
  offset.mean_s = {about.mean.value, about.mean.uncertainty, static_cast<double>(kept.size()) - 1};
  judge_stretches(kept, offset);
  return offset;
}

Dependence dependence_on(const std::string& name, const std::string& unit, std::span<const double> values,
                         std::span<const double> differences_s) {
  assert(values.size() == differences_s.size());
  std::vector<double> x, y;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (!std::isfinite(values[i]) || !std::isfinite(differences_s[i])) continue;
    x.push_back(values[i]);
    y.push_back(differences_s[i]);
  }
  Dependence found{
      .name = name, .unit = unit, .pairs = x.size(), .rank_correlation = nan, .slope = {nan, nan}};
  if (x.size() < 4) return found;
  const Line ranks = line_through(ranks_of(x), ranks_of(y));
  found.rank_correlation = ranks.correlation();
  const double r = found.rank_correlation;
  found.probability =
      probability_of(r * std::sqrt(ranks.freedom() / std::max(1 - r * r, 1e-300)), ranks.freedom());
  found.slope = line_through(x, y).slope();
  return found;
}

OffsetCourse course_of(std::span<const double> time_s, std::span<const double> differences_s) {
  assert(time_s.size() == differences_s.size());
  OffsetCourse found;
  const Estimate slope = line_through(time_s, differences_s).slope();
  found.drift = slope;
  if (slope.uncertainty > 0)
    found.drift_probability = probability_of(slope.value / slope.uncertainty, slope.degrees_of_freedom);
  const std::size_t blocks = std::min(most_blocks, differences_s.size() / fewest_in_stretch);
  if (blocks < fewest_for_course) return found;
  const double length_s = *std::max_element(time_s.begin(), time_s.end());
  if (!(length_s > 0)) return found;
  found.block_s = length_s / static_cast<double>(blocks);
  std::vector<std::vector<double>> inside(blocks);
  for (std::size_t i = 0; i < time_s.size(); ++i)
    inside[std::min(blocks - 1, static_cast<std::size_t>(time_s[i] / found.block_s))].push_back(
        differences_s[i]);
  std::vector<double> variance;
  const double spread_s = moments(differences_s).deviation.value;
  for (std::size_t i = 0; i < blocks; ++i) {
    const auto count = static_cast<double>(inside[i].size());
    found.block_time_s.push_back((static_cast<double>(i) + 0.5) * found.block_s);
    found.block_mean_s.push_back(inside[i].empty() ? nan : moments(inside[i]).mean.value);
    variance.push_back(inside[i].empty() ? 1 : 1 / count);
    found.block_uncertainty_s.push_back(inside[i].empty() ? nan : spread_s / std::sqrt(count));
  }
  found.course = find_course(found.block_mean_s, variance);
  return found;
}

}  // namespace firstedge
