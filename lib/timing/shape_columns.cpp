#include "firstedge/timing/shape_columns.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

#include <Eigen/Dense>

namespace firstedge {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr int most_trials = 30;
constexpr double least_step_over_uncertainty = 1e-4;
constexpr double parallel = 1e-7;  // sine of the angle below which columns cannot be told from one another

// The samples of one pulse's window, whitened, with what is missing taken out.
class ShapeWindow {
 public:
  ShapeWindow(const TemplateColumns& columns, const PulseSamples& samples, double time_samples)
      : columns_(columns) {
    const std::ptrdiff_t begin = columns.sampled(time_samples).first;
    const std::ptrdiff_t end = begin + static_cast<std::ptrdiff_t>(columns.samples());
    from_ = std::max(begin, samples.first);
    to_ = std::max(std::min(end, samples.last()), from_);
    cut_before = from_ > begin;
    cut_after = to_ < end;
    const auto at = static_cast<std::size_t>(from_ - samples.first);
    const auto out = samples.left_out.begin() + static_cast<std::ptrdiff_t>(at);
    missing_ = MissingSamples({out, out + (to_ - from_)}, columns.whitening());
    data = white(std::span(samples.volts).subspan(at, rows()));
    level = white(std::vector<double>(rows(), 1.0));
  }
  std::size_t rows() const { return static_cast<std::size_t>(to_ - from_); }
  std::size_t rows_used() const { return rows() - missing_.rows_lost(); }
  bool clipped() const { return !missing_.none(); }

  // Values of the window of a time as whitened rows of this window; 0 where the two do not meet.
  VectorXd placed(const std::vector<double>& values, std::ptrdiff_t first) const {
    std::vector<double> here(rows());
    const std::ptrdiff_t begin = std::max(first, from_);
    const std::ptrdiff_t end = std::min(first + static_cast<std::ptrdiff_t>(values.size()), to_);
    for (std::ptrdiff_t i = begin; i < end; ++i)
      here[static_cast<std::size_t>(i - from_)] = values[static_cast<std::size_t>(i - first)];
    return white(here);
  }
  std::vector<double> sample_weights(const VectorXd& rows) const {
    return columns_.whitening().sample_weights(std::span(rows.data(), static_cast<std::size_t>(rows.size())));
  }

  VectorXd data, level;
  bool cut_before = false, cut_after = false;

 private:
  VectorXd white(std::span<const double> values) const {
    const std::vector<double> made = missing_.taken_out(columns_.whitening().whitened(values));
    return Eigen::Map<const VectorXd>(made.data(), static_cast<Index>(made.size()));
  }
  const TemplateColumns& columns_;
  std::ptrdiff_t from_ = 0, to_ = 0;
  MissingSamples missing_;
};

// The linear part of a fit: height, then products of height and coefficient, then the level.
struct Trial {
  MatrixXd columns;  // those of the time, the height, the products and the level; below the samples stands a
                     // row for the population of each coefficient
  VectorXd solved;   // the step of the time, then the linear part
  double chi_square = 0;
  MatrixXd inverse;  // of the triangle of their QR factors: the covariance is it times its transpose
};

class ShapeFit {
 public:
  ShapeFit(const ShapeColumns& shapes, const PulseSamples& samples, double start,
           std::span<const double> population)
      : shapes_(shapes),
        columns_(shapes.mean()),
        window_(columns_, samples, start),
        population_(population) {}

  const ShapeWindow& window() const { return window_; }
  Index components() const { return static_cast<Index>(shapes_.components()); }
  Index parameters() const { return 2 + components() + (columns_.fits_level() ? 1 : 0); }

  // linear: the linear part so far, by which the column of the time and the rows of the population are
  // scaled.
  std::optional<Trial> at(double time_samples, const VectorXd& linear) const {
    const auto rows = static_cast<Index>(window_.rows());
    const Index more = components();  // a row of nothing for a free coefficient
    if (window_.rows_used() < static_cast<std::size_t>(parameters() + 2)) return std::nullopt;
    Trial trial;
    trial.columns = MatrixXd::Zero(rows + more, parameters());
    const TemplateColumns::Sampled mean = columns_.sampled(time_samples);
    trial.columns.col(0).head(rows) = linear(0) * window_.placed(mean.slope, mean.first);
    trial.columns.col(1).head(rows) = window_.placed(mean.shape, mean.first);
    for (Index c = 0; c < more; ++c) {
      const ShapeColumns::Sampled one = shapes_.sampled(static_cast<std::size_t>(c), time_samples);
      trial.columns.col(0).head(rows) += linear(1 + c) * window_.placed(one.slope, mean.first);
      trial.columns.col(2 + c).head(rows) = window_.placed(one.value, mean.first);
      trial.columns(rows + c, 2 + c) = 1 / (population_[static_cast<std::size_t>(c)] * linear(0));
    }
    if (columns_.fits_level()) trial.columns.rightCols(1).topRows(rows) = window_.level;
    VectorXd data = VectorXd::Zero(rows + more);
    data.head(rows) = window_.data;

    const Eigen::HouseholderQR<MatrixXd> factors(trial.columns);
    for (Index k = 0; k < parameters(); ++k)
      if (!(std::abs(factors.matrixQR()(k, k)) > parallel * trial.columns.col(k).norm())) return std::nullopt;
    trial.solved = factors.solve(data);
    if (!trial.solved.allFinite() || !(trial.solved(1) > 0)) return std::nullopt;
    trial.chi_square = (data - trial.columns * trial.solved).squaredNorm();
    const MatrixXd upper = factors.matrixQR().topRows(parameters()).triangularView<Eigen::Upper>();
    trial.inverse =
        upper.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(parameters(), parameters()));
    return trial;
  }

  FittedShape solution(const Trial& trial, double time_samples) const {
    FittedShape found{.time_samples = time_samples, .height_v = trial.solved(1)};
    const Index count = components();
    const MatrixXd covariance = trial.inverse * trial.inverse.transpose();
    if (columns_.fits_level()) found.level_v = trial.solved(count + 2);
    for (Index c = 0; c < count; ++c) found.coefficients.push_back(trial.solved(2 + c) / trial.solved(1));
    found.chi_square = trial.chi_square;
    const auto known =
        std::count_if(population_.begin(), population_.end(), [](double one) { return std::isfinite(one); });
    const std::size_t rows = window_.rows_used() + static_cast<std::size_t>(known);
    found.degrees_of_freedom = rows - static_cast<std::size_t>(parameters());
    const MatrixXd weights =
        trial.columns.topRows(static_cast<Index>(window_.rows())) * covariance.leftCols(2 + count);
    for (Index k = 0; k < parameters(); ++k) {
      const VectorXd row = covariance.row(k);
      found.covariance.emplace_back(row.begin(), row.end());
      if (k < 2 + count) found.sample_weights.push_back(window_.sample_weights(weights.col(k)));
    }
    found.clipped = window_.clipped();
    found.cut_before = window_.cut_before;
    found.cut_after = window_.cut_after;
    return found;
  }

 private:
  const ShapeColumns& shapes_;
  const TemplateColumns& columns_;
  ShapeWindow window_;
  std::span<const double> population_;
};

}  // namespace

ShapeColumns::ShapeColumns(const FamilyShape& shape, const TemplateColumns& columns) : columns_(&columns) {
  const double interval = columns.interval_s();
  const std::array<double, 3> units{1, -interval,
                                    interval * interval};  // of derivatives with the time in samples
  for (std::size_t c = 0; c < shape.components(); ++c) {
    std::vector<Position>& positions = ready_.emplace_back();
    for (std::size_t ready = 0; ready < TemplateColumns::places(); ++ready) {
      Position& at = positions.emplace_back();
      for (std::size_t derivative = 0; derivative < units.size(); ++derivative) {
        at[derivative].resize(columns.samples());
        for (std::size_t i = 0; i < columns.samples(); ++i) {
          const double offset = static_cast<double>(columns.first_offset()) + static_cast<double>(i) -
                                TemplateColumns::position_of(ready);
          at[derivative][i] =
              units[derivative] * shape.component(c, offset * interval, static_cast<int>(derivative));
        }
      }
    }
  }
}

ShapeColumns::Sampled ShapeColumns::sampled(std::size_t component, double time_samples) const {
  const TemplateColumns::Place place = columns_->place_of_nearest(time_samples);
  const Position& at = ready_[component][place.ready];
  Sampled found{.value = at[0], .slope = at[1]};
  for (std::size_t i = 0; i < found.value.size(); ++i) {
    found.value[i] += place.rest * (at[1][i] + 0.5 * place.rest * at[2][i]);
    found.slope[i] += place.rest * at[2][i];
  }
  return found;
}

std::optional<FittedShape> fit_shape(const ShapeColumns& columns, const PulseSamples& samples,
                                     double start_samples, double start_height_v,
                                     std::span<const double> population) {
  const ShapeFit fit(columns, samples, start_samples, population);
  const TemplateColumns& mean = columns.mean();
  const double longest = std::max(1.0, 0.5 * mean.shape().transition_duration_s() / mean.interval_s());
  const double furthest = 0.5 * static_cast<double>(mean.samples());
  double time = start_samples;
  VectorXd linear = VectorXd::Zero(fit.parameters() - 1);
  linear(0) = start_height_v;
  for (int trials = 0; trials < most_trials; ++trials) {
    const std::optional<Trial> trial = fit.at(time, linear);
    if (!trial) return std::nullopt;
    linear = trial->solved.tail(linear.size());
    const double step = trial->solved(0);
    if (std::abs(step) <= least_step_over_uncertainty * trial->inverse.row(0).norm())
      return fit.solution(*trial, time + step);
    time += std::clamp(step, -longest, longest);
    if (std::abs(time - start_samples) > furthest) return std::nullopt;
  }
  return std::nullopt;
}

}  // namespace firstedge
