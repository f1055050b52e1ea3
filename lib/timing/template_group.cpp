#include "firstedge/timing/template_group.hpp"

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
// Columns closer to parallel than this (sine of their angle) cannot be told from one another.
constexpr double parallel = 1e-6;

using Eigen::MatrixXd;
using Eigen::VectorXd;

// The samples of a group, whitened, and the columns that pulses put into them.
class GroupSamples {
 public:
  GroupSamples(const TemplateColumns& columns, const PulseSamples& samples)
      : columns_(columns), samples_(samples) {
    if (samples.any_left_out) missing_ = MissingSamples(samples.left_out, columns.whitening());
    data_ = white(samples.volts);
    level_ = white(std::vector<double>(samples.volts.size(), 1.0));
  }
  Eigen::Index rows() const { return data_.size(); }
  std::size_t rows_used() const { return samples_.volts.size() - missing_.rows_lost(); }
  const TemplateColumns& columns() const { return columns_; }
  const PulseSamples& samples() const { return samples_; }
  const VectorXd& data() const { return data_; }
  const VectorXd& level() const { return level_; }

  // What a member of height 1 V puts into the samples, and its derivative with the time in samples.
  struct Columns {
    VectorXd shape, slope;
  };
  Columns of(const GroupMember& member) const {
    const TemplateColumns::Sampled sampled = columns_.sampled(member.time_samples);
    return {white(placed(sampled.shape, sampled.first, member.polarity)),
            white(placed(sampled.slope, sampled.first, member.polarity))};
  }
  VectorXd shape_of(const GroupMember& member) const {
    const TemplateColumns::Sampled sampled = columns_.sampled(member.time_samples);
    return white(placed(sampled.shape, sampled.first, member.polarity));
  }
  // Of the template, at each sample.
  std::vector<double> uncertainty(const GroupMember& member) const {
    const TemplateColumns::Sampled sampled = columns_.sampled(member.time_samples);
    return placed(sampled.uncertainty, sampled.first, 1);
  }
  // The weights of the samples in a weighted sum of rows.
  std::vector<double> sample_weights(const VectorXd& rows) const {
    return columns_.whitening().sample_weights(std::span(rows.data(), static_cast<std::size_t>(rows.size())));
  }

 private:
  // times * values at their place among the samples, 0 elsewhere.
  std::vector<double> placed(std::span<const double> values, std::ptrdiff_t first, double times) const {
    std::vector<double> all(samples_.volts.size());
    const std::ptrdiff_t begin = std::max(first, samples_.first);
    const std::ptrdiff_t end = std::min(first + static_cast<std::ptrdiff_t>(values.size()), samples_.last());
    for (std::ptrdiff_t i = begin; i < end; ++i)
      all[static_cast<std::size_t>(i - samples_.first)] = times * values[static_cast<std::size_t>(i - first)];
    return all;
  }
  VectorXd white(std::span<const double> values) const {
    const std::vector<double> made = missing_.taken_out(columns_.whitening().whitened(values));
    return Eigen::Map<const VectorXd>(made.data(), static_cast<Eigen::Index>(made.size()));
  }

  const TemplateColumns& columns_;
  const PulseSamples& samples_;
  MissingSamples missing_;
  VectorXd data_, level_;
};

// The state of the fit at trial times: columns are the shapes, the level (if fitted) and, scaled by the
// heights, the slopes.
struct Trial {
  std::vector<GroupMember> members;
  VectorXd heights;
  double level_v = 0;
  double chi_square = 0;
  VectorXd steps;
  MatrixXd covariance;  // of times (samples), then heights, then the level
  MatrixXd columns;

  // Of the rows in the times, then in the heights: a column each.
  MatrixXd weights() const { return columns * covariance.leftCols(2 * heights.size()); }
};

class GroupFit {
 public:
  GroupFit(const TemplateColumns& columns, const PulseSamples& samples) : group_(columns, samples) {}

  std::optional<Trial> at(std::vector<GroupMember> members) const {
    const auto count = static_cast<Eigen::Index>(members.size());
    const Eigen::Index linear = count + (group_.columns().fits_level() ? 1 : 0);
    if (group_.rows_used() < static_cast<std::size_t>(linear + count + 2)) return std::nullopt;
    Trial trial{.members = std::move(members)};
    MatrixXd all(group_.rows(), count + linear);
    for (Eigen::Index k = 0; k < count; ++k) {
      const GroupSamples::Columns columns = group_.of(member(trial, k));
      all.col(k) = columns.slope;
      all.col(count + k) = columns.shape;
    }
    if (linear > count) all.rightCols(1) = group_.level();
    const Eigen::HouseholderQR<MatrixXd> shapes(all.rightCols(linear));
    if (!independent(shapes, all.rightCols(linear))) return std::nullopt;
    const VectorXd solved = shapes.solve(group_.data());
    trial.heights = solved.head(count);
    if (linear > count) trial.level_v = solved(count);
    if (!(trial.heights.minCoeff() > 0)) return std::nullopt;
    for (Eigen::Index k = 0; k < count; ++k) all.col(k) *= trial.heights(k);
    const VectorXd residual = group_.data() - all.rightCols(linear) * solved;
    trial.chi_square = residual.squaredNorm();

    const Eigen::HouseholderQR<MatrixXd> full(all);
    if (!independent(full, all)) return std::nullopt;
    trial.steps = full.solve(residual).head(count);
    const MatrixXd upper = full.matrixQR().topRows(count + linear).triangularView<Eigen::Upper>();
    const MatrixXd inverse =
        upper.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(count + linear, count + linear));
    trial.covariance = inverse * inverse.transpose();
    if (!trial.steps.allFinite() || !trial.covariance.allFinite()) return std::nullopt;
    trial.columns = std::move(all);
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
    const MatrixXd weights = trial.weights();
    std::vector<std::vector<double>> doubts;
    for (const GroupMember& one : trial.members) doubts.push_back(group_.uncertainty(one));
    for (Eigen::Index k = 0; k < trial.heights.size(); ++k) {
      const GroupMember& one = member(trial, k);
      FittedPulse pulse{.time_samples = one.time_samples,
                        .height_v = trial.heights(k),
                        .level_v = one.polarity * trial.level_v,
                        .heights2_v2 = heights2,
                        .chi_square = trial.chi_square,
                        .degrees_of_freedom = group.degrees_of_freedom};
      pulse.information = 1 / trial.covariance(k, k);
      const Eigen::Index height = trial.heights.size() + k;
      pulse.explained = pulse.height_v * pulse.height_v / trial.covariance(height, height);
      pulse.shares = shares(trial, k, weights.col(k), doubts);
      look_at_samples(pulse);
      group.pulses.push_back(pulse);
      group.height_weights.push_back(group_.sample_weights(weights.col(height)));
    }
    return group;
  }

 private:
  static const GroupMember& member(const Trial& trial, Eigen::Index k) {
    return trial.members[static_cast<std::size_t>(k)];
  }

  static bool independent(const Eigen::HouseholderQR<MatrixXd>& factors, const MatrixXd& columns) {
    for (Eigen::Index k = 0; k < columns.cols(); ++k)
      if (!(std::abs(factors.matrixQR()(k, k)) > parallel * columns.col(k).norm())) return false;
    return true;
  }

  // of_rows: their weights in the time of member k.
  TimeShares shares(const Trial& trial, Eigen::Index k, const VectorXd& of_rows,
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
        doubtful += square * std::pow(trial.heights(static_cast<Eigen::Index>(j)) * doubts[j][i], 2);
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
    members[k].time_samples +=
        factor * std::clamp(trial.steps(static_cast<Eigen::Index>(k)), -longest, longest);
  return members;
}

bool at_rest(const Trial& trial, double over_uncertainty) {
  for (Eigen::Index k = 0; k < trial.steps.size(); ++k) {
    const double least = std::max(least_step_samples, over_uncertainty * std::sqrt(trial.covariance(k, k)));
    if (!(std::abs(trial.steps(k)) <= least)) return false;
  }
  return true;
}

// An orthonormal basis of what the level and all pulses but one can put into the samples, their times moving
// a little.
MatrixXd others_basis(const GroupSamples& group, std::span<const GroupMember> members, std::size_t but) {
  std::vector<VectorXd> known;
  for (std::size_t k = 0; k < members.size(); ++k) {
    if (k == but) continue;
    const GroupSamples::Columns columns = group.of(members[k]);
    known.push_back(columns.shape);
    known.push_back(columns.slope);
  }
  if (group.columns().fits_level()) known.push_back(group.level());
  MatrixXd columns(group.rows(), static_cast<Eigen::Index>(known.size()));
  for (std::size_t c = 0; c < known.size(); ++c) columns.col(static_cast<Eigen::Index>(c)) = known[c];
  if (columns.cols() == 0) return columns;
  const Eigen::HouseholderQR<MatrixXd> factors(columns);
  return factors.householderQ() *
         MatrixXd::Identity(columns.rows(), std::min(columns.rows(), columns.cols()));
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

std::optional<std::vector<GroupMember>> taken_for_two(const TemplateColumns& columns,
                                                      const PulseSamples& samples,
                                                      std::span<const GroupMember> fitted, std::size_t split,
                                                      double first_samples, double last_samples) {
  constexpr double most_steps = 400;
  constexpr double reach = 2;  // of the first of the two from where `split` was fitted, in transitions
  const GroupSamples group(columns, samples);
  const MatrixXd basis = others_basis(group, fitted, split);
  const double transition = columns.shape().transition_duration_s() / columns.interval_s();
  const double span = last_samples - first_samples;
  const double step = std::max({transition / 8, 0.25, span / most_steps});
  const auto steps = static_cast<Eigen::Index>(std::max(std::floor(span / step), 0.0)) + 1;
  const auto place = [&](Eigen::Index i) { return first_samples + static_cast<double>(i) * step; };
  MatrixXd shapes(group.rows(), steps);
  for (Eigen::Index i = 0; i < steps; ++i) shapes.col(i) = group.shape_of({place(i), fitted[split].polarity});
  if (basis.cols() > 0) shapes -= basis * (basis.transpose() * shapes);
  const VectorXd with_data = shapes.transpose() * group.data();
  const VectorXd lengths2 = shapes.colwise().squaredNorm();

  Eigen::Index firsts = 0;
  while (firsts < steps && place(firsts) <= fitted[split].time_samples + reach * transition) ++firsts;
  const MatrixXd products = shapes.transpose() * shapes.leftCols(firsts);

  double most = 0;
  std::optional<std::pair<Eigen::Index, Eigen::Index>> best;
  for (Eigen::Index a = 0; a < firsts; ++a) {
    for (Eigen::Index b = a + 1; b < steps; ++b) {
      const double product = products(b, a);
      const double determinant = lengths2(a) * lengths2(b) - product * product;
      if (!(determinant > parallel * lengths2(a) * lengths2(b))) continue;
      const double on_a = (with_data(a) * lengths2(b) - with_data(b) * product) / determinant;
      const double on_b = (with_data(b) * lengths2(a) - with_data(a) * product) / determinant;
      const double explained = on_a * with_data(a) + on_b * with_data(b);
      if (!(on_a > 0 && on_b > 0 && explained > most)) continue;
      most = explained;
      best = {a, b};
    }
  }
  if (!best) return std::nullopt;
  std::vector<GroupMember> members{fitted.begin(), fitted.end()};
  members[split].time_samples = place(best->first);
  members.push_back({place(best->second), fitted[split].polarity});
  return members;
}

}  // namespace firstedge
