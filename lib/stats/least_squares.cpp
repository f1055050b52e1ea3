#include "firstedge/stats/least_squares.hpp"

#include <cassert>
#include <cmath>
#include <limits>

#include <Eigen/Dense>
#include <boost/math/special_functions/gamma.hpp>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
using Vector = Eigen::VectorXd;

std::vector<double> rows_of(const Matrix& matrix) {
  return {matrix.data(), matrix.data() + matrix.size()};
}

}  // namespace

Estimate LinearFit::parameter(std::size_t i) const {
  return {parameters[i], std::sqrt(covariance[i * parameters.size() + i])};
}

LinearFit least_squares(std::span<const double> design, std::span<const double> values,
                        std::span<const double> covariance) {
  const auto rows = static_cast<Eigen::Index>(values.size());
  const auto columns = rows == 0 ? 0 : static_cast<Eigen::Index>(design.size()) / rows;
  assert(rows * columns == static_cast<Eigen::Index>(design.size()));
  assert(values.size() * values.size() == covariance.size());
  const Eigen::Map<const Matrix> matrix(design.data(), rows, columns);
  const Eigen::Map<const Vector> measured(values.data(), rows);
  const Eigen::Map<const Matrix> spread(covariance.data(), rows, rows);

  LinearFit fit;
  fit.degrees_of_freedom = static_cast<double>(rows - columns);
  fit.parameters.assign(static_cast<std::size_t>(columns), nan);
  fit.covariance.assign(static_cast<std::size_t>(columns * columns), nan);
  fit.chi_square = fit.probability = nan;
  if (!matrix.allFinite() || !measured.allFinite() || !spread.allFinite() || rows < columns) return fit;

  // Each value in units of its standard deviation; then each column of the design in units of its length.
  const Vector deviation = spread.diagonal().cwiseMax(0).cwiseSqrt();
  const Eigen::LLT<Matrix> factor = deviation.minCoeff() > 0
                                        ? Eigen::LLT<Matrix>(deviation.cwiseInverse().asDiagonal() * spread *
                                                             deviation.cwiseInverse().asDiagonal())
                                        : Eigen::LLT<Matrix>(Matrix::Constant(1, 1, -1));
  fit.weighted = factor.info() == Eigen::Success;
  const auto whiten = [&](const Matrix& given) -> Matrix {
    if (!fit.weighted) return given;
    return factor.matrixL().solve(deviation.cwiseInverse().asDiagonal() * given);
  };
  Matrix white = whiten(matrix);
  const Vector length = white.colwise().norm();
  if (!(length.minCoeff() > 0)) return fit;
  white = white * length.cwiseInverse().asDiagonal();
  const Eigen::ColPivHouseholderQR<Matrix> solver(white);
  if (solver.rank() < columns) return fit;
  const Matrix scaled_gain = solver.solve(Matrix::Identity(rows, rows));
  const Matrix gain = length.cwiseInverse().asDiagonal() * scaled_gain * whiten(Matrix::Identity(rows, rows));
  const Vector solved = gain * measured;
  fit.parameters.assign(solved.data(), solved.data() + solved.size());
  fit.covariance = rows_of(gain * spread * gain.transpose());
  if (!fit.weighted) return fit;
  fit.chi_square = whiten(measured - matrix * solved).squaredNorm();
  fit.probability = chi_square_probability(fit.chi_square, fit.degrees_of_freedom);
  return fit;
}

double chi_square_probability(double chi_square, double degrees_of_freedom) {
  if (std::isnan(chi_square) || std::isnan(degrees_of_freedom)) return nan;
  if (degrees_of_freedom <= 0) return 1;
  return boost::math::gamma_q(0.5 * degrees_of_freedom, 0.5 * chi_square);
}

}  // namespace firstedge
