// Whole pulses put into a template's regression against their samples put in one by one.
#include "firstedge/timing/template_regression.hpp"

#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// Pulses of one shape with a little noise; the first one has a sample that is no number.
template <class Add>
TemplateRegression::Solution solved(double points_per_sample, Add&& add) {
  constexpr double interval_s = 0.2e-9;
  TemplateRegression regression(-4e-9, interval_s / points_per_sample,
                                static_cast<std::size_t>(50 * points_per_sample), 0.4 / interval_s);
  std::mt19937 random(20261128);
  std::uniform_real_distribution<double> phase(0, 1), height(0.5, 1.5);
  std::normal_distribution<double> noise(0, 0.01);
  for (int pulse = 0; pulse < 100; ++pulse) {
    const double first_t_s = (-24 - phase(random)) * interval_s, height_v = height(random);
    std::vector<double> volts(70);  // beyond the grid on either side
    for (std::size_t i = 0; i < volts.size(); ++i) {
      const double t = (first_t_s + static_cast<double>(i) * interval_s) / 1e-9;
      volts[i] = height_v * std::exp(-t * t) + noise(random);
    }
    if (pulse == 0) volts[30] = std::numeric_limits<double>::quiet_NaN();
    add(regression, first_t_s, interval_s, height_v, volts);
  }
  return regression.solved();
}

TEST(template_regression, whole_pulses_give_the_shape_that_their_samples_give) {
  for (const double points_per_sample : {1.0, 4.0, 8.0, 2.5}) {
    const auto whole =
        solved(points_per_sample, [](TemplateRegression& regression, double first_t_s, double interval_s,
                                     double height_v, const std::vector<double>& volts) {
          regression.add_pulse(first_t_s, interval_s, height_v, volts);
        });
    const auto one_by_one =
        solved(points_per_sample, [](TemplateRegression& regression, double first_t_s, double interval_s,
                                     double height_v, const std::vector<double>& volts) {
          for (std::size_t i = 0; i < volts.size(); ++i) {
            if (std::isfinite(volts[i]))
              regression.add(first_t_s + static_cast<double>(i) * interval_s, height_v, volts[i]);
          }
        });
    ASSERT_EQ(whole.value.size(), one_by_one.value.size());
    for (std::size_t i = 0; i < whole.value.size(); ++i) {
      // Positions differ by rounding, 1e-13 of a point; the solution of the spline's equations amplifies that
      // by their condition, below 1e4.
      EXPECT_NEAR(whole.value[i], one_by_one.value[i], 1e-9) << points_per_sample << ", point " << i;
      EXPECT_NEAR(whole.uncertainty[i], one_by_one.uncertainty[i], 1e-9);
    }
  }
}

}  // namespace
}  // namespace firstedge
