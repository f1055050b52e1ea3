#include "firstedge/delay/echo_fit.hpp"

#include "firstedge/delay/padded.hpp"
#include "firstedge/signal/skin_line.hpp"

#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>

#include <Eigen/Dense>

namespace firstedge {
namespace {

using Complex = std::complex<double>;
using Lines = std::vector<Complex>;
using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

// Times in samples and K in sqrt(samples) inside, so that all parameters are of one size. The parameters: K,
// baseline, then delay and gain of each echo.
struct Parameters {
  VectorXd values;
  std::vector<double> loss_shares;
  std::size_t echoes() const { return loss_shares.size(); }
  double delay(std::size_t i) const { return values[static_cast<Index>(EchoFit::delay_row(i))]; }
  double gain(std::size_t i) const { return values[static_cast<Index>(EchoFit::gain_row(i))]; }
};

// The problem made ready: transforms, noise, and what must be known of the window.
class Problem {
 public:
  explicit Problem(const EchoData& data)
      : data_(data),
        size_(padded_size(4 * data.before.size())),
        x_(padded_fft(data.before.volts, size_)),
        noise_x_(mean_noise_power(data.before, size_)),
        noise_y_(mean_noise_power(data.after, size_)),
        band_(signal_band(data.before, size_)) {
    assert(data.before.size() == data.after.size() && data.window.last <= data.after.size());
  }

  std::size_t size() const { return size_; }
  double angular(std::size_t k) const {
    return 2 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(size_);
  }
  double weight(std::size_t k) const { return k == 0 || 2 * k == size_ ? 1 : 2; }
  Index window_size() const { return static_cast<Index>(data_.window.size()); }
  const Lines& x() const { return x_; }
  const std::vector<double>& noise_x() const { return noise_x_; }
  const std::vector<double>& band() const { return band_; }
  // Power of the noise of both in a sample of the residual, where the transfer is `through`.
  double noise(std::size_t k, const Complex& through) const {
    return noise_y_[k] + std::norm(through) * noise_x_[k];
  }

  // Samples of the noise of `before` that reach into the window.
  double noisy_samples() const {
    return static_cast<double>(std::min(data_.window.size(), data_.before.size()));
  }

  std::vector<double> samples_of(Lines lines) const {
    std::vector<double> samples = inverse_fft(std::move(lines), size_);
    samples.resize(data_.after.size());
    return samples;
  }

  VectorXd in_window(const std::vector<double>& samples) const {
    return Eigen::Map<const VectorXd>(samples.data() + data_.window.first, window_size());
  }

  // Samples of the window with their frequencies weighed.
  VectorXd weighed(const VectorXd& samples) const {
    std::vector<double> in_record(data_.after.size(), 0.0);
    std::copy(samples.begin(), samples.end(),
              in_record.begin() + static_cast<std::ptrdiff_t>(data_.window.first));
    Lines lines = padded_fft(in_record, size_);
    for (std::size_t k = 0; k < lines.size(); ++k) lines[k] *= band_[k];
    return in_window(samples_of(std::move(lines)));
  }

  MatrixXd weighed_columns(const MatrixXd& columns) const {
    MatrixXd result(columns.rows(), columns.cols());
    for (Index i = 0; i < columns.cols(); ++i) result.col(i) = weighed(columns.col(i));
    return result;
  }

  VectorXd measured() const { return in_window(data_.after.volts); }

 private:
  const EchoData& data_;
  std::size_t size_;
  Lines x_;
  std::vector<double> noise_x_, noise_y_, band_;
};

// The transfer function at parameters and its derivatives: one column a parameter but the baseline's.
struct Transfer {
  Lines sum;
  std::vector<Lines> derivatives;  // by parameter; that of the baseline is empty
};

Transfer transfer_of(const Problem& problem, const Parameters& at) {
  const std::size_t lines = problem.x().size();
  Transfer transfer{.sum = Lines(lines), .derivatives = std::vector<Lines>(2 + 2 * at.echoes())};
  transfer.derivatives[0].resize(lines);
  for (std::size_t i = 0; i < at.echoes(); ++i) {
    Lines& by_delay = transfer.derivatives[EchoFit::delay_row(i)];
    Lines& by_gain = transfer.derivatives[EchoFit::gain_row(i)];
    by_delay.resize(lines);
    by_gain.resize(lines);
    const SkinLine line{at.delay(i), at.values[0] * at.loss_shares[i]};
    for (std::size_t k = 0; k < lines; ++k) {
      const double w = problem.angular(k);
      const Complex unit = line.transfer(w);
      const Complex scaled = at.gain(i) * unit;
      const double root = std::sqrt(0.5 * w);
      transfer.sum[k] += scaled;
      transfer.derivatives[0][k] -= Complex(root, root) * at.loss_shares[i] * scaled;
      by_delay[k] = Complex(0, -w) * scaled;
      by_gain[k] = unit;
    }
  }
  return transfer;
}

// Expected square of the noise of `before` in the model, and half its derivatives.
struct NoiseSquares {
  double squares = 0;
  VectorXd half_slope;
};

NoiseSquares noise_squares(const Problem& problem, const Transfer& transfer) {
  NoiseSquares noise{.half_slope = VectorXd::Zero(static_cast<Index>(transfer.derivatives.size()))};
  const double scale = problem.noisy_samples() / static_cast<double>(problem.size());
  for (std::size_t k = 0; k < transfer.sum.size(); ++k) {
    const double power = scale * problem.weight(k) * problem.band()[k] * problem.noise_x()[k];
    noise.squares += power * std::norm(transfer.sum[k]);
    for (std::size_t p = 0; p < transfer.derivatives.size(); ++p) {
      if (transfer.derivatives[p].empty()) continue;
      noise.half_slope[static_cast<Index>(p)] +=
          power * (std::conj(transfer.sum[k]) * transfer.derivatives[p][k]).real();
    }
  }
  return noise;
}

Lines times(const Lines& a, const Lines& b) {
  Lines product(a.size());
  for (std::size_t k = 0; k < a.size(); ++k) product[k] = a[k] * b[k];
  return product;
}

// Everything of one point of the parameters.
struct Point {
  Parameters at;
  Transfer transfer;
  VectorXd residual;
  double squares = 0;  // of the residual, weighed
  NoiseSquares noise;
  double objective = 0;  // squares of the residual less what the noise of `before` adds to them
};

Point point_at(const Problem& problem, const VectorXd& measured, Parameters at) {
  Point point{.at = std::move(at), .transfer = {}, .residual = {}, .noise = {}};
  point.transfer = transfer_of(problem, point.at);
  const std::vector<double> model = problem.samples_of(times(point.transfer.sum, problem.x()));
  point.residual =
      measured - problem.in_window(model) - VectorXd::Constant(measured.size(), point.at.values[1]);
  point.noise = noise_squares(problem, point.transfer);
  point.squares = problem.weighed(point.residual).dot(point.residual);
  point.objective = point.squares - point.noise.squares;
  return point;
}

MatrixXd jacobian(const Problem& problem, const Point& point, bool fit_loss) {
  MatrixXd columns = MatrixXd::Zero(point.residual.size(), point.at.values.size());
  for (std::size_t p = 0; p < point.transfer.derivatives.size(); ++p) {
    if (p == 0 && !fit_loss) continue;
    const Lines& derivative = point.transfer.derivatives[p];
    if (derivative.empty()) {
      columns.col(static_cast<Index>(p)).setOnes();
    } else {
      columns.col(static_cast<Index>(p)) =
          problem.in_window(problem.samples_of(times(derivative, problem.x())));
    }
  }
  return columns;
}

// A step of the normal equations with damping; the row of a parameter that is not fitted stays put.
VectorXd step_of(const MatrixXd& normal, const VectorXd& slope, double damping) {
  MatrixXd damped = normal;
  for (Index i = 0; i < damped.rows(); ++i)
    damped(i, i) = damped(i, i) > 0 ? damped(i, i) * (1 + damping) : 1;
  return damped.ldlt().solve(slope);
}

// Noise of both means through the estimator A = F J (J' F J)^-1, F the weights: A' C A, C by its spectrum. A
// parameter that is not fitted has a column of zeros, and gets variance 0.
MatrixXd covariance_at(const Problem& problem, const EchoData& data, const Point& point,
                       const MatrixXd& columns) {
  const MatrixXd weighed = problem.weighed_columns(columns);
  const MatrixXd normal = columns.transpose() * weighed;
  // Scaled to a unit diagonal, so that the inverse loses no digits.
  VectorXd scale = normal.diagonal();
  for (double& each : scale) each = each > 0 ? 1 / std::sqrt(each) : 0;
  MatrixXd unit = scale.asDiagonal() * normal * scale.asDiagonal();
  unit.diagonal().setOnes();
  const MatrixXd estimator = weighed * scale.asDiagonal() * unit.inverse() * scale.asDiagonal();
  std::vector<Lines> lines;
  for (Index p = 0; p < estimator.cols(); ++p) {
    std::vector<double> samples(data.after.size(), 0.0);
    for (Index i = 0; i < estimator.rows(); ++i)
      samples[data.window.first + static_cast<std::size_t>(i)] = estimator(i, p);
    lines.push_back(padded_fft(samples, problem.size()));
  }
  MatrixXd covariance = MatrixXd::Zero(estimator.cols(), estimator.cols());
  for (std::size_t k = 0; k < point.transfer.sum.size(); ++k) {
    const double power =
        problem.weight(k) * problem.noise(k, point.transfer.sum[k]) / static_cast<double>(problem.size());
    for (Index a = 0; a < covariance.rows(); ++a) {
      const Complex one = std::conj(lines[static_cast<std::size_t>(a)][k]);
      for (Index b = 0; b < covariance.cols(); ++b)
        covariance(a, b) += power * (one * lines[static_cast<std::size_t>(b)][k]).real();
    }
  }
  return covariance;
}

// Root of the weighed squares of the residual over those that noise would leave.
double misfit_of(const Problem& problem, const Point& point) {
  double expected = 0, in_band = 0;
  for (std::size_t k = 0; k < point.transfer.sum.size(); ++k) {
    const double weight = problem.weight(k) * problem.band()[k] / static_cast<double>(problem.size());
    expected += weight * problem.noise(k, point.transfer.sum[k]);
    in_band += weight;
  }
  const double samples = static_cast<double>(point.residual.size());
  const double fitted = static_cast<double>(point.at.values.size());
  const double free = std::max(0.0, 1 - fitted / (in_band * samples));
  return std::sqrt(point.squares / (expected * samples * free));
}

struct Solution {
  Point point;
  bool converged = false;
};

Solution solve(const Problem& problem, const VectorXd& measured, Parameters start,
               const EchoFitOptions& options) {
  constexpr double close_enough = 1e-7;  // of a sample, and of the other parameters
  constexpr double most_damping = 1e12;
  Solution solution{.point = point_at(problem, measured, std::move(start))};
  double damping = 1e-3;
  for (std::size_t i = 0; i < options.most_steps && damping < most_damping; ++i) {
    const MatrixXd columns = jacobian(problem, solution.point, options.fit_loss);
    const MatrixXd weighed = problem.weighed_columns(columns);
    VectorXd slope = weighed.transpose() * solution.point.residual + solution.point.noise.half_slope;
    if (!options.fit_loss) slope[0] = 0;
    const VectorXd step = step_of(columns.transpose() * weighed, slope, damping);
    Parameters next = solution.point.at;
    next.values += step;
    if (!next.values.allFinite()) return solution;
    Point tried = point_at(problem, measured, std::move(next));
    const bool small =
        (step.array().abs() < close_enough * (1 + solution.point.at.values.array().abs())).all();
    if (tried.objective <= solution.point.objective) {
      solution.point = std::move(tried);
      damping = std::max(damping / 10, 1e-12);
    } else {
      damping *= 10;
    }
    if (small) {
      solution.converged = true;
      return solution;
    }
  }
  return solution;
}

Parameters parameters_of(const EchoModel& model, double interval_s, double offset_s) {
  Parameters parameters{.values = VectorXd(static_cast<Index>(2 + 2 * model.echoes.size())),
                        .loss_shares = {}};
  parameters.values[0] = model.loss_constant / std::sqrt(interval_s);
  parameters.values[1] = model.baseline_v;
  for (std::size_t i = 0; i < model.echoes.size(); ++i) {
    const Echo& echo = model.echoes[i];
    parameters.values[static_cast<Index>(EchoFit::delay_row(i))] = (echo.delay_s - offset_s) / interval_s;
    parameters.values[static_cast<Index>(EchoFit::gain_row(i))] = echo.gain;
    parameters.loss_shares.push_back(echo.loss_share);
  }
  return parameters;
}

EchoModel model_of(const Parameters& parameters, double interval_s, double offset_s) {
  EchoModel model{.loss_constant = parameters.values[0] * std::sqrt(interval_s),
                  .baseline_v = parameters.values[1],
                  .echoes = {}};
  for (std::size_t i = 0; i < parameters.echoes(); ++i)
    model.echoes.push_back(
        {parameters.delay(i) * interval_s + offset_s, parameters.gain(i), parameters.loss_shares[i]});
  return model;
}

}  // namespace

Estimate EchoFit::loss_constant() const {
  return {model.loss_constant, std::sqrt(variance(0))};
}

Estimate EchoFit::delay_s(std::size_t echo) const {
  return {model.echoes.at(echo).delay_s, std::sqrt(variance(delay_row(echo)))};
}

Estimate EchoFit::gain(std::size_t echo) const {
  return {model.echoes.at(echo).gain, std::sqrt(variance(gain_row(echo)))};
}

EchoFit fit_echoes(const EchoData& data, const EchoModel& start, const EchoFitOptions& options) {
  const Problem problem(data);
  const double interval_s = data.before.interval_s();
  const double offset_s = data.after.head.first_sample_s - data.before.head.first_sample_s;
  const VectorXd measured = problem.measured();
  const Solution solution = solve(problem, measured, parameters_of(start, interval_s, offset_s), options);
  const Point& point = solution.point;

  EchoFit fit;
  fit.model = model_of(point.at, interval_s, offset_s);
  fit.converged = solution.converged;
  fit.misfit = misfit_of(problem, point);
  fit.model_v = problem.samples_of(times(point.transfer.sum, problem.x()));
  fit.left_v.resize(fit.model_v.size());
  for (std::size_t i = 0; i < fit.model_v.size(); ++i) {
    fit.model_v[i] += fit.model.baseline_v;
    fit.left_v[i] = data.after.volts[i] - fit.model_v[i];
  }
  const MatrixXd covariance = covariance_at(problem, data, point, jacobian(problem, point, options.fit_loss));
  VectorXd units = VectorXd::Ones(covariance.rows());
  units[0] = std::sqrt(interval_s);
  for (std::size_t i = 0; i < fit.model.echoes.size(); ++i)
    units[static_cast<Index>(EchoFit::delay_row(i))] = interval_s;
  for (Index a = 0; a < covariance.rows(); ++a) {
    for (Index b = 0; b < covariance.cols(); ++b)
      fit.covariance.push_back(covariance(a, b) * units[a] * units[b]);
  }
  return fit;
}

EchoModel first_guess(const EchoData& data, int sign) {
  const std::size_t size = padded_size(4 * data.before.size());
  const Lines x = padded_fft(data.before.volts, size);
  std::vector<double> windowed(data.after.size(), 0.0);
  for (std::size_t i = data.window.first; i < data.window.last; ++i) windowed[i] = data.after.volts[i];
  const Lines y = padded_fft(windowed, size);
  const double interval_s = data.before.interval_s();
  const double offset_s = data.after.head.first_sample_s - data.before.head.first_sample_s;

  // K^2 from a thousandth of a sample to a thousand samples, and none.
  std::vector<double> losses{0};
  for (double squared = 1e-3; squared < 1e3; squared *= 4) losses.push_back(std::sqrt(squared));
  EchoModel best{.loss_constant = 0, .baseline_v = 0, .echoes = {Echo{}}};
  double most = 0;
  for (const double loss : losses) {
    Lines cross(x.size());
    double power = 0;
    for (std::size_t k = 0; k < x.size(); ++k) {
      const double w = 2 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(size);
      const Complex model = SkinLine{0, loss}.transfer(w) * x[k];
      cross[k] = std::conj(model) * y[k];
      power += (k == 0 || 2 * k == size ? 1 : 2) * std::norm(model);
    }
    power /= static_cast<double>(size);
    if (!(power > 0)) continue;
    const std::vector<double> curve = inverse_fft(std::move(cross), size);
    for (std::size_t i = 0; i < size; ++i) {
      const double explained = curve[i] * curve[i] / power;
      if (explained <= most || (sign != 0 && curve[i] * sign < 0)) continue;
      most = explained;
      const double lag =
          i < size / 2 ? static_cast<double>(i) : static_cast<double>(i) - static_cast<double>(size);
      best.loss_constant = loss * std::sqrt(interval_s);
      best.echoes.front() = {lag * interval_s + offset_s, curve[i] / power, 1};
    }
  }
  return best;
}

}  // namespace firstedge
