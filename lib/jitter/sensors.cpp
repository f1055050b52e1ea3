#include "firstedge/jitter/sensors.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/least_squares.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <span>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// Differences of one pair in rising order, and the record each came from.
struct OrderedPair {
  std::vector<double> sorted;
  std::vector<std::uint32_t> record;
};

OrderedPair ordered_pair(const std::vector<double>& a, const std::vector<double>& b) {
  OrderedPair pair;
  pair.record.resize(a.size());
  std::iota(pair.record.begin(), pair.record.end(), 0U);
  std::sort(pair.record.begin(), pair.record.end(), [&](std::uint32_t i, std::uint32_t j) {
    const double left = a[i] - b[i];
    const double right = a[j] - b[j];
    return left < right || (left == right && i < j);
  });
  for (const std::uint32_t i : pair.record) pair.sorted.push_back(a[i] - b[i]);
  return pair;
}

// Variances of every pair: first by standard deviation, then by Gaussian core.
std::vector<double> pair_variances(const std::vector<OrderedPair>& pairs,
                                   std::span<const std::uint32_t> multiplicity,
                                   const GaussianCoreOptions& options) {
  std::vector<double> variances(2 * pairs.size());
  std::vector<std::uint32_t> weight(multiplicity.size());
  for (std::size_t p = 0; p < pairs.size(); ++p) {
    const OrderedPair& pair = pairs[p];
    const double origin = pair.sorted[pair.sorted.size() / 2];
    double count = 0;
    double sum = 0;
    double squares = 0;
    for (std::size_t i = 0; i < weight.size(); ++i) {
      weight[i] = multiplicity[pair.record[i]];
      const double value = pair.sorted[i] - origin;
      count += weight[i];
      sum += weight[i] * value;
      squares += weight[i] * value * value;
    }
    variances[p] = (squares - sum * sum / count) / (count - 1);
    const GaussianCore core = fit_gaussian_core(pair.sorted, weight, options);
    variances[pairs.size() + p] = core.width.value * core.width.value;
  }
  return variances;
}

// One row a pair: 1 for each of its two sensors.
std::vector<double> design(std::size_t sensors) {
  std::vector<double> rows;
  for (std::size_t i = 0; i < sensors; ++i) {
    for (std::size_t j = i + 1; j < sensors; ++j) {
      for (std::size_t sensor = 0; sensor < sensors; ++sensor)
        rows.push_back(sensor == i || sensor == j ? 1 : 0);
    }
  }
  return rows;
}

Unfolding unfold_part(std::size_t sensors, const Bootstrap& drawn, std::size_t begin, std::size_t size) {
  std::vector<double> variances;
  std::vector<double> covariance;
  for (std::size_t a = begin; a < begin + size; ++a) {
    variances.push_back(drawn.figures[a].value);
    for (std::size_t b = begin; b < begin + size; ++b) covariance.push_back(drawn.covariance_of(a, b));
  }
  return unfold(sensors, variances, covariance);
}

}  // namespace

Unfolding unfold(std::size_t sensors, const std::vector<double>& variances,
                 const std::vector<double>& covariance) {
  if (sensors < 3 || sensors > most_sensors)
    throw Error("sensor resolutions", fmt::format("{} sensors", sensors),
                fmt::format("give pairs of 3 to {} channels", most_sensors));
  const LinearFit fit = least_squares(design(sensors), variances, covariance);
  Unfolding result{.variance = {}, .resolution = {}, .covariance = fit.covariance};
  for (std::size_t i = 0; i < sensors; ++i) {
    const Estimate variance = fit.parameter(i);
    const double s = variance.value > 0 ? std::sqrt(variance.value) : nan;
    result.variance.push_back(variance);
    result.resolution.push_back({s, variance.uncertainty / (2 * s)});
  }
  result.chi_square = fit.chi_square;
  result.degrees_of_freedom = fit.degrees_of_freedom;
  result.probability = fit.probability;
  return result;
}

SensorResolutions sensor_resolutions(const std::vector<std::vector<double>>& times,
                                     const GaussianCoreOptions& core, const BootstrapOptions& options) {
  std::vector<OrderedPair> pairs;
  for (std::size_t i = 0; i < times.size(); ++i) {
    for (std::size_t j = i + 1; j < times.size(); ++j) pairs.push_back(ordered_pair(times[i], times[j]));
  }
  SensorResolutions result;
  result.records = times.empty() ? 0 : times.front().size();
  const Bootstrap drawn = bootstrap(
      result.records,
      [&](std::span<const std::uint32_t> multiplicity) { return pair_variances(pairs, multiplicity, core); },
      options);
  result.by_deviation = unfold_part(times.size(), drawn, 0, pairs.size());
  result.by_core = unfold_part(times.size(), drawn, pairs.size(), pairs.size());
  return result;
}

}  // namespace firstedge
