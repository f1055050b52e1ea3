// What the search for the course of a series is made of: its items, and how likely the values are with them.
// For course.cpp.
#pragma once

#include "firstedge/stats/local_level.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace firstedge {

/// One thing that the level may do beside wandering.
struct CourseItem {
  enum class Kind : std::uint8_t { step, warm_up, drift };
  Kind kind = Kind::step;
  std::size_t at = 0;        ///< first point after a step, first point of a warm-up
  double time_constant = 0;  ///< of a warm-up, in points
  bool operator==(const CourseItem&) const = default;
};

/// What the item adds to each point, for a size of 1: a unit step; exp(-t/time constant) averaged over each
/// interval, t from the beginning of the interval `at`; a slope of 1 a point about the middle.
std::vector<double> column_of(const CourseItem& item, std::size_t points);
/// d column/d ln(time constant) of a warm-up.
std::vector<double> time_constant_column_of(const CourseItem& item, std::size_t points);

/// Values under local level noise of every ratio on a grid.
class CourseModel {
 public:
  /// values: NaN at gaps; relative_variance of the same size, of mean 1.
  CourseModel(std::span<const double> values, std::span<const double> relative_variance);

  std::size_t points() const { return values_.size(); }
  /// Values less the free level.
  double freedom() const { return freedom_; }

  /// A set of items fitted, at every ratio of the grid: what is left of the values, and the items' whitened
  /// columns made orthonormal.
  struct Fit {
    struct AtRatio {
      std::vector<double> residual;
      std::vector<std::vector<double>> basis;
      double squares = 0;     ///< of the residual
      double restricted = 0;  ///< log likelihood without the part that the items take (REML), for the ratio
    };
    std::vector<AtRatio> at_ratio;
    double log_likelihood = 0;  ///< the greatest over the grid
  };
  Fit fit(const std::vector<CourseItem>& items) const;

  /// Greatest log likelihood over the grid with one more step, by its place; -infinity where it tells
  /// nothing.
  std::vector<double> with_step(const Fit& fit) const;
  /// The same with one more column.
  double with_column(const Fit& fit, std::span<const double> column) const;
  /// Greatest log likelihood at ratio 0 (no wander).
  double without_wander(const Fit& fit) const;

  /// Sizes of columns with their variances, and the noise.
  struct Sizes {
    std::vector<double> size, variance;
    double noise = 0;   ///< deviation of a point of relative variance 1
    double wander = 0;  ///< deviation of the level's step from point to point
    double degrees_of_freedom = 0;
  };
  /// The mean over the ratios, weighted with their restricted likelihood, so that the variances hold what the
  /// unknown ratio adds.
  Sizes sizes(const Fit& fit, const std::vector<std::vector<double>>& columns) const;

 private:
  double log_likelihood(double squares, std::size_t ratio) const;
  Sizes sizes_at(std::size_t ratio, const std::vector<std::vector<double>>& columns) const;

  std::vector<double> values_, relative_variance_, ratios_;
  std::vector<LocalLevel> noises_;
  double freedom_ = 0, floor_ = 0;
};

}  // namespace firstedge
