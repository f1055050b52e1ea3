// Interpolation against SciPy's polynomials, run beside it, and crossings against the closed forms of known
// edges.
#include "firstedge/signal/interpolation.hpp"

#include "scipy.hpp"
#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

TEST(interpolation_reference, values_equal_scipy_s_polynomial_through_the_same_samples) {
  test::Random random(81);
  std::vector<double> values(40, 0.0);
  random.add_white_noise(values, 1);
  std::string script = "from scipy.interpolate import BarycentricInterpolator\n";
  std::vector<double> ours;
  for (const Interpolation interpolation :
       {Interpolation::linear, Interpolation::cubic, Interpolation::quintic}) {
    for (double position = 0.05; position < 39; position += 0.61) {
      const Stencil stencil = stencil_at(values, position, interpolation);
      const std::string run = "np.arange(" + std::to_string(stencil.first) + ", " +
                              std::to_string(stencil.first + stencil.size) + ")";
      script += "show(BarycentricInterpolator(" + run + ", x[" + std::to_string(stencil.first) + ":" +
                std::to_string(stencil.first + stencil.size) + "])(" + std::to_string(position) + "))\n";
      ours.push_back(interpolated(values, std::stod(std::to_string(position)), interpolation));
    }
  }
  const std::vector<double> expected = test::from_scipy(script, values);
  ASSERT_EQ(ours.size(), expected.size());
  // Samples of size 3 with weights up to 6 in outer runs: 1e-16 * 100.
  for (std::size_t i = 0; i < ours.size(); ++i) EXPECT_NEAR(ours[i], expected[i], 1e-13);
}

/// The rising crossing of a level in samples `interval` apart, at the worst of many phases: its largest
/// error.
double worst_error(const test::Shape& shape, double from, double to, double level, double exact,
                   double interval, Interpolation interpolation) {
  double worst = 0;
  for (double phase = 0; phase < 1; phase += 0.05) {
    const double first = from + phase * interval;
    const auto samples = static_cast<std::size_t>((to - first) / interval);
    const std::vector<double> values = test::sampled(shape, 1, samples, interval, first);
    std::size_t before = 0;
    while (values[before + 1] < level) ++before;
    const auto crossing = find_crossing(values, before, level, interpolation);
    worst = std::max(worst, std::abs(first + crossing->position * interval - exact));
  }
  return worst;
}

TEST(interpolation_reference, reference_level_instants_of_a_single_pole) {
  // -ln(1 - f), closed form; t10 is left out: there a sample lies below the kink at four samples an edge.
  const std::vector<std::pair<double, double>> instants{{0.5, 0.693147180560}, {0.9, 2.30258509299}};
  for (const auto& [level, instant] : instants) {
    // Four and twenty samples over the edge of ln 9 time constants. At four the bound of the cubic is 2 ps of
    // a 0.9 ns edge, which is ln 9 time constants.
    const double unit = std::log(9.0);
    const test::Shape pole = test::rc_step(0, 1);
    EXPECT_LT(worst_error(pole, -6, 12, level, instant, unit / 4, Interpolation::cubic),
              cubic_error_s_at_four_samples / 0.9e-9 * unit);
    EXPECT_LT(worst_error(pole, -6, 12, level, instant, unit / 4, Interpolation::quintic),
              quintic_error_s_at_four_samples / 0.9e-9 * unit);
    EXPECT_LT(worst_error(pole, -6, 12, level, instant, unit / 20, Interpolation::quintic),
              quintic_error_s_at_twenty_samples / 0.9e-9 * unit + 1e-11);  // the printed digits
  }
}

TEST(interpolation_reference, fractions_of_a_gaussian) {
  // -sqrt(2 ln(1/p)) standard deviations before the peak, closed form.
  const std::vector<std::pair<double, double>> instants{
      {0.1, -2.14596602629}, {0.2, -1.79412257799}, {0.5, -1.17741002252}, {0.9, -0.45904360503}};
  for (const auto& [level, instant] : instants) {
    const double unit = 2.14596602629 - 0.45904360503;
    const test::Shape gaussian = test::gaussian(0, 1);
    EXPECT_LT(worst_error(gaussian, -9, 9, level, instant, unit / 4, Interpolation::quintic),
              quintic_error_s_at_four_samples / 0.9e-9 * unit);
    EXPECT_LT(worst_error(gaussian, -9, 9, level, instant, unit / 20, Interpolation::quintic),
              quintic_error_s_at_twenty_samples / 0.9e-9 * unit + 1e-11);  // the printed digits
  }
}

TEST(interpolation_reference, linear_interpolation_averages_the_noise_of_two_samples) {
  // Variance (1 - a)^2 + a^2 of that of a sample at the fraction a: 2/3 on average, 1/2 at least (derived).
  std::vector<double> line(10);
  for (std::size_t i = 0; i < line.size(); ++i) line[i] = static_cast<double>(i);
  double mean = 0, least = 1;
  constexpr int places = 1000;
  for (int place = 0; place < places; ++place) {
    const Stencil stencil = stencil_at(line, 4 + (place + 0.5) / places, Interpolation::linear);
    double gain = 0;
    for (std::size_t i = 0; i < stencil.size; ++i) gain += stencil.weights[i] * stencil.weights[i];
    mean += gain / places;
    least = std::min(least, gain);
  }
  EXPECT_NEAR(mean, 2.0 / 3, 1e-6);  // midpoint rule: 1/(6 * 1000^2)
  EXPECT_NEAR(least, 0.5, 1e-6);
}

}  // namespace
}  // namespace firstedge
