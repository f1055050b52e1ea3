#include "firstedge/signal/line_removal.hpp"

#include <cmath>
#include <numbers>

#include <Eigen/Dense>

namespace firstedge {

std::vector<double> fitted_lines(std::span<const double> volts, double interval_s, SampleRange window,
                                 std::span<const double> frequency_hz) {
  std::vector<double> sum(volts.size(), 0.0);
  std::vector<double> turns;  // radians a sample
  for (const double frequency : frequency_hz) {
    const double periods = frequency * interval_s * static_cast<double>(window.size());
    if (periods >= 1 && frequency * interval_s < 0.5)
      turns.push_back(2 * std::numbers::pi * frequency * interval_s);
  }
  const std::size_t parameters = 2 * turns.size() + 1;
  constexpr std::size_t samples_a_parameter = 3;
  if (turns.empty() || window.size() < samples_a_parameter * parameters) return sum;
  const auto rows = static_cast<Eigen::Index>(window.size());
  Eigen::MatrixXd design = Eigen::MatrixXd::Ones(rows, static_cast<Eigen::Index>(parameters));
  Eigen::VectorXd values(rows);
  for (Eigen::Index i = 0; i < rows; ++i) {
    values(i) = volts[window.first + static_cast<std::size_t>(i)];
    for (std::size_t line = 0; line < turns.size(); ++line) {
      const double phase = turns[line] * static_cast<double>(i);
      const auto column = static_cast<Eigen::Index>(2 * line);
      design(i, column) = std::cos(phase);
      design(i, column + 1) = std::sin(phase);
    }
  }
  const Eigen::VectorXd found = design.colPivHouseholderQr().solve(values);
  for (std::size_t i = 0; i < volts.size(); ++i) {
    const double from_window = static_cast<double>(i) - static_cast<double>(window.first);
    for (std::size_t line = 0; line < turns.size(); ++line) {
      const auto column = static_cast<Eigen::Index>(2 * line);
      const double phase = turns[line] * from_window;
      sum[i] += found(column) * std::cos(phase) + found(column + 1) * std::sin(phase);
    }
  }
  return sum;
}

}  // namespace firstedge
