#include "firstedge/timing/template_group.hpp"

#include "firstedge/timing/group_samples.hpp"
#include "firstedge/timing/orthogonal_columns.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <Eigen/Dense>

namespace firstedge {
namespace {

constexpr int most_trials = 40;
constexpr int most_halvings = 8;
constexpr double least_step_samples = 1e-9;
constexpr double least_step_over_uncertainty = 1e-4;
// A sample that enters or leaves a support may keep the steps from getting that short: then this will do.
constexpr int patient_trials = 10;
constexpr double short_step_over_uncertainty = 1e-2;

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

std::span<const double> column_of(const MatrixXd& matrix, Index column) {
  return {matrix.col(column).data(), static_cast<std::size_t>(matrix.rows())};
}

// The state of the fit at trial times.
struct Trial {
  std::vector<GroupMember> members;
  VectorXd heights;
  double level_v = 0;
  double chi_square = 0;
  VectorXd steps;
  MatrixXd covariance;  // of times (samples), then heights, then the level
};

class GroupFit {
 public:
  GroupFit(const TemplateColumns& columns, const PulseSamples& samples) : group_(columns, samples) {}

  std::optional<Trial> at(std::vector<GroupMember> members) const {
    const std::size_t count = members.size();
    const std::size_t linear = count + (group_.columns().fits_level() ? 1 : 0);
    if (group_.rows_used() < linear + count + 2) return std::nullopt;
    // The shapes and the level, and behind them the slopes.
    OrthogonalColumns columns(group_.data());
    for (const GroupMember& one : members)
      if (!columns.add(group_.shape_of(one))) return std::nullopt;
    if (linear > count && !columns.add(group_.level())) return std::nullopt;
    const std::vector<double> solved = columns.solution();
    Trial trial;
    trial.heights = Eigen::Map<const VectorXd>(solved.data(), static_cast<Index>(count));
    if (!(trial.heights.minCoeff() > 0)) return std::nullopt;
    if (linear > count) trial.level_v = solved.back();
    trial.chi_square = columns.rest2();
    for (const GroupMember& one : members)
      if (!columns.add(group_.slope_of(one))) return std::nullopt;
    const std::vector<double> stepped = columns.solution();
    trial.steps = Eigen::Map<const VectorXd>(stepped.data() + linear, static_cast<Index>(count))
                      .cwiseQuotient(trial.heights);
    trial.covariance = covariance(columns, trial.heights);
    if (!trial.steps.allFinite() || !trial.covariance.allFinite()) return std::nullopt;
    trial.members = std::move(members);
    return trial;
  }

  FittedGroup solution(const Trial& trial) const {
    const auto parameters = static_cast<std::size_t>(trial.covariance.rows());
    FittedGroup group{
        .pulses = {}, .chi_square = trial.chi_square, .degrees_of_freedom = group_.rows_used() - parameters};
    const TemplateColumns& columns = group_.columns();
    // What the template's uncertainty adds to chi-square is a mean over its support, see FittedPulse.
    const double heights2 = trial.heights.squaredNorm() * static_cast<double>(columns.samples()) /
                            static_cast<double>(group_.rows());
    const MatrixXd weights = row_weights(trial);
    std::vector<std::vector<double>> doubts;
    for (const GroupMember& one : trial.members) doubts.push_back(group_.uncertainty(one));
    for (Index k = 0; k < trial.heights.size(); ++k) {
      const GroupMember& one = member(trial, k);
      FittedPulse pulse{.time_samples = one.time_samples,
                        .height_v = trial.heights(k),
                        .level_v = one.polarity * trial.level_v,
                        .heights2_v2 = heights2,
                        .chi_square = trial.chi_square,
                        .degrees_of_freedom = group.degrees_of_freedom};
      pulse.information = 1 / trial.covariance(k, k);
      const Index height = trial.heights.size() + k;
      pulse.explained = pulse.height_v * pulse.height_v / trial.covariance(height, height);
      pulse.shares = shares(trial, k, column_of(weights, k), doubts);
      look_at_samples(pulse);
      group.pulses.push_back(pulse);
      group.height_weights.push_back(group_.sample_weights(column_of(weights, height)));
    }
    return group;
  }

 private:
  static const GroupMember& member(const Trial& trial, Index k) {
    return trial.members[static_cast<std::size_t>(k)];
  }

  // Of times, heights and level, from the factors of shapes, level and slopes.
  static MatrixXd covariance(const OrthogonalColumns& columns, const VectorXd& heights) {
    const auto all = static_cast<Index>(columns.count());
    const Index linear = all - heights.size();
    MatrixXd upper = MatrixXd::Zero(all, all);
    for (Index j = 0; j < all; ++j)
      for (Index i = 0; i <= j; ++i)
        upper(i, j) = columns.upper(static_cast<std::size_t>(i), static_cast<std::size_t>(j));
    const MatrixXd inverse = upper.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(all, all));
    MatrixXd turned(all, all);
    turned.topRows(heights.size()) = heights.cwiseInverse().asDiagonal() * inverse.bottomRows(heights.size());
    turned.bottomRows(linear) = inverse.topRows(linear);
    return turned * turned.transpose();
  }

  // The weights of the rows in the times, then in the heights: a column each.
  MatrixXd row_weights(const Trial& trial) const {
    const Index count = trial.heights.size();
    MatrixXd columns(static_cast<Index>(group_.rows()), trial.covariance.rows());
    const auto set = [&](Index column, const std::vector<double>& values) {
      columns.col(column) = Eigen::Map<const VectorXd>(values.data(), columns.rows());
    };
    for (Index k = 0; k < count; ++k) {
      set(k, group_.slope_of(member(trial, k)));
      columns.col(k) *= trial.heights(k);
      set(count + k, group_.shape_of(member(trial, k)));
    }
    if (columns.cols() > 2 * count) set(2 * count, group_.level());
    return columns * trial.covariance.leftCols(2 * count);
  }

  // of_rows: their weights in the time of member k.
  TimeShares shares(const Trial& trial, Index k, std::span<const double> of_rows,
                    const std::vector<std::vector<double>>& doubts) const {
    const std::vector<double> weights = group_.sample_weights(of_rows);
    double squares = 0;
    double doubtful = 0;
    double sum = 0;
    for (std::size_t i = 0; i < weights.size(); ++i) {
      const double square = weights[i] * weights[i];
      squares += square;
      sum += weights[i];
      for (std::size_t j = 0; j < doubts.size(); ++j)
        doubtful += square * std::pow(trial.heights(static_cast<Index>(j)) * doubts[j][i], 2);
    }
    const double height = trial.heights(k);
    TimeShares found;
    found.of_extra_noise = squares / trial.covariance(k, k);
    found.of_template = doubtful / squares / group_.columns().variance_v2() / (height * height);
    found.level_samples = sum * height;
    return found;
  }

  // What is missing of the window of a pulse.
  void look_at_samples(FittedPulse& pulse) const {
    const TemplateColumns& columns = group_.columns();
    const PulseSamples& samples = group_.samples();
    const auto whole = static_cast<std::ptrdiff_t>(std::lround(pulse.time_samples));
    const std::ptrdiff_t begin = whole + columns.first_offset();
    const std::ptrdiff_t end = begin + static_cast<std::ptrdiff_t>(columns.samples());
    pulse.cut_before = begin < samples.first;
    pulse.cut_after = end > samples.last();
    const auto at = [&](std::ptrdiff_t sample) {
      return samples.left_out.begin() + (std::clamp(sample, samples.first, samples.last()) - samples.first);
    };
    pulse.clipped = std::find(at(begin), at(end), true) != at(end);
  }

  GroupSamples group_;
};

// The steps of a trial, each at most `longest` long, and all of them times a factor.
std::vector<GroupMember> moved(const Trial& trial, double longest, double factor) {
  std::vector<GroupMember> members = trial.members;
  for (std::size_t k = 0; k < members.size(); ++k)
    members[k].time_samples += factor * std::clamp(trial.steps(static_cast<Index>(k)), -longest, longest);
  return members;
}

bool at_rest(const Trial& trial, double over_uncertainty) {
  for (Index k = 0; k < trial.steps.size(); ++k) {
    const double least = std::max(least_step_samples, over_uncertainty * std::sqrt(trial.covariance(k, k)));
    if (!(std::abs(trial.steps(k)) <= least)) return false;
  }
  return true;
}

}  // namespace

std::optional<FittedGroup> fit_group(const TemplateColumns& columns, const PulseSamples& samples,
                                     std::span<const GroupMember> members) {
  if (members.empty() || samples.volts.empty()) return std::nullopt;
  const GroupFit fit(columns, samples);
  const double longest = std::max(1.0, 0.5 * columns.shape().transition_duration_s() / columns.interval_s());
  // Steps shorter than this are taken though chi-square may rise by what a sample at the end of a support
  // adds.
  const double trusted = 1.0 / TemplateColumns::positions_per_sample;
  std::optional<Trial> best = fit.at({members.begin(), members.end()});
  for (int trials = 0; best; ++trials) {
    const bool patient = trials < patient_trials;
    if (at_rest(*best, patient ? least_step_over_uncertainty : short_step_over_uncertainty)) break;
    if (trials >= most_trials) return std::nullopt;
    std::optional<Trial> next;
    double factor = 1;
    for (int halvings = 0; halvings <= most_halvings; ++halvings, factor /= 2) {
      next = fit.at(moved(*best, longest, factor));
      const bool short_step = factor * best->steps.cwiseAbs().maxCoeff() < trusted;
      if (next && (short_step || next->chi_square <= best->chi_square)) break;
      next.reset();
    }
    if (!next) return std::nullopt;
    best = std::move(next);
  }
  if (!best) return std::nullopt;
  return fit.solution(*best);
}

std::optional<double> chi_square_at(const TemplateColumns& columns, const PulseSamples& samples,
                                    std::span<const GroupMember> members) {
  const std::optional<Trial> trial = GroupFit(columns, samples).at({members.begin(), members.end()});
  return trial ? std::optional(trial->chi_square) : std::nullopt;
}

}  // namespace firstedge
