// The worked examples of JCGM 100:2008, annex H, and table G.2. Figures of H.3 from memory of the printed
// text; digits beyond the printed ones by an independent computation with NumPy.
#include "firstedge/stats/propagation.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/least_squares.hpp"
#include "firstedge/stats/spread.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
using In = std::span<const double>;

// H.1.3.2: uncertainties 5.8 nm (24 degrees of freedom), 3.9 nm (5), 6.7 nm (8) of the difference of 215 nm.
Estimate comparator() {
  const std::vector<double> ones{1, 1, 1};
  return propagate_sum(
             ones, {.estimates = {{215e-6, 5.8e-6, 24}, {0, 3.9e-6, 5}, {0, 6.7e-6, 8}}, .correlation = {}})
      .output;
}

// JCGM 100:2008, H.1: end gauge, in mm and degrees: ls, d, das, dth, alpha_s, theta.
struct EndGauge {
  InputQuantities inputs{.estimates = {{50.000623, 25e-6, 18},
                                       comparator(),
                                       {0, 0.58e-6, 50},
                                       {0, 0.029, 2},
                                       {11.5e-6, 1.2e-6, infinite},
                                       {-0.1, 0.41, infinite}},
                         .correlation = {}};
  Measurand length = [](In x) { return x[0] + x[1] - x[0] * (x[2] * x[5] + x[4] * x[3]); };
};

TEST(propagation_reference, the_end_gauge_of_h1) {
  const EndGauge gauge;
  const Propagated found = propagate(gauge.length, gauge.inputs);
  EXPECT_NEAR(found.output.value, 50.000838, 5e-7);  // printed to this digit
  // Printed 32 nm (u_c^2 = 1002 nm^2); unrounded 31.705.
  EXPECT_NEAR(found.output.uncertainty, 31.705e-6, 0.0005e-6);
  EXPECT_NEAR(found.output.degrees_of_freedom, 16.64, 0.005);  // printed 16.7 from rounded parts
  // Printed contributions 25, 9.7, 2.9, 16.6 nm, to their last digit.
  EXPECT_NEAR(found.contributions[0].uncertainty, 25e-6, 0.5e-6);
  EXPECT_NEAR(found.contributions[1].uncertainty, 9.7e-6, 0.05e-6);
  EXPECT_NEAR(found.contributions[2].uncertainty, 2.9e-6, 0.05e-6);
  EXPECT_NEAR(found.contributions[3].uncertainty, 16.6e-6, 0.1e-6);  // 16.675 unrounded
  EXPECT_EQ(found.contributions[4].uncertainty, 0);
  EXPECT_NEAR(found.contributions[5].uncertainty, 0, 1e-12);
  double shares = 0;
  for (const Contribution& one : found.contributions) shares += one.share;
  EXPECT_NEAR(shares, 1, 1e-12);
  // Printed U99 = 2.92 * 32 nm = 93 nm; unrounded 92.60.
  EXPECT_NEAR(expanded_uncertainty(found.output, 0.99), 92.60e-6, 0.01e-6);
}

TEST(propagation_reference, the_parts_of_the_end_gauges_comparator) {
  const Estimate found = comparator();
  EXPECT_NEAR(found.uncertainty, 9.7e-6, 0.05e-6);
  // 25.6 in print, from the fourth power of the rounded 9.7.
  EXPECT_NEAR(found.degrees_of_freedom * std::pow(9.7e-6 / found.uncertainty, 4), 25.6, 0.05);
}

TEST(propagation_reference, the_second_order_terms_of_the_end_gauge) {
  const EndGauge gauge;
  // H.1.7: 11.7 nm (from memory) and 1.7 nm, together with the first order 34 nm;
  // recomputed 11.89, 1.74, 33.9.
  const double more = second_order_variance(gauge.length, gauge.inputs);
  // ls 0.58e-6 * 0.41 and ls 1.2e-6 * 0.029 in mm, in closed form.
  const double closed = std::pow(50.000623 * 0.58e-6 * 0.41, 2) + std::pow(50.000623 * 1.2e-6 * 0.029, 2);
  // Differences of 50 mm round at 7e-15 mm, a part in 1e9 of 12 nm; products of ls with others give a part in
  // 1e12 more.
  EXPECT_NEAR(more / closed, 1, 1e-6);
  EXPECT_NEAR(std::sqrt(more), std::hypot(11.89e-6, 1.74e-6), 0.01e-6);
  const double first = propagate(gauge.length, gauge.inputs).output.uncertainty;
  EXPECT_NEAR(std::sqrt(first * first + more), 33.9e-6, 0.05e-6);  // printed 34 nm
}

TEST(propagation_reference, coverage_factors_of_table_g2) {
  EXPECT_NEAR(coverage_factor(16, 0.95), 2.12, 0.005);
  EXPECT_NEAR(coverage_factor(16, 0.9545), 2.17, 0.005);
  EXPECT_NEAR(coverage_factor(16, 0.99), 2.92, 0.005);
  EXPECT_NEAR(coverage_factor(infinite, 0.9545), 2.000, 0.0005);
  // G.4.1: cut to the whole number below.
  EXPECT_EQ(coverage_factor(16.9, 0.95), coverage_factor(16, 0.95));
  EXPECT_DOUBLE_EQ(coverage_factor(infinite, coverage_of_two_sigma), 2);
  EXPECT_THROW(coverage_factor(3, 1), Error);
}

// JCGM 100:2008, H.2: five readings of V (V), I (A) and phi (rad) taken together.
const std::vector<std::vector<double>> readings{{5.007, 4.994, 5.005, 4.990, 4.999},
                                                {19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
                                                {1.0456, 1.0438, 1.0468, 1.0428, 1.0433}};

InputQuantities means_of_readings() {
  InputQuantities inputs;
  for (const auto& one : readings) inputs.estimates.push_back(moments(one).mean);
  for (std::size_t a = 0; a < 3; ++a) {
    for (std::size_t b = 0; b < 3; ++b) {
      double sum = 0;
      for (std::size_t k = 0; k < 5; ++k)
        sum += (readings[a][k] - inputs.estimates[a].value) * (readings[b][k] - inputs.estimates[b].value);
      const double scale = 20 * inputs.estimates[a].uncertainty * inputs.estimates[b].uncertainty;
      inputs.correlation.push_back(a == b ? 1 : sum / scale);
    }
  }
  return inputs;
}

const std::vector<Measurand> impedance{[](In x) { return x[0] / x[1] * std::cos(x[2]); },
                                       [](In x) { return x[0] / x[1] * std::sin(x[2]); },
                                       [](In x) { return x[0] / x[1]; }};

TEST(propagation_reference, resistance_reactance_and_impedance_of_h2) {
  const InputQuantities inputs = means_of_readings();
  EXPECT_NEAR(inputs.correlation[1], -0.36, 0.005);
  EXPECT_NEAR(inputs.correlation[2], 0.86, 0.005);
  EXPECT_NEAR(inputs.correlation[5], -0.65, 0.005);
  const JointlyPropagated found = propagate_jointly(impedance, inputs);
  EXPECT_NEAR(found.outputs[0].output.value, 127.732, 0.0005);
  EXPECT_NEAR(found.outputs[1].output.value, 219.847, 0.0005);
  EXPECT_NEAR(found.outputs[2].output.value, 254.260, 0.0005);
  // Printed 0.071, 0.295, 0.236; unrounded as here (the printed 0.295 comes from rounded parts).
  EXPECT_NEAR(found.outputs[0].output.uncertainty, 0.07107, 5e-6);
  EXPECT_NEAR(found.outputs[1].output.uncertainty, 0.29558, 5e-6);
  EXPECT_NEAR(found.outputs[2].output.uncertainty, 0.23634, 5e-6);
  // Printed -0.588, -0.485, 0.993 (from memory).
  EXPECT_NEAR(found.correlation(0, 1), -0.58843, 5e-6);
  EXPECT_NEAR(found.correlation(0, 2), -0.48526, 5e-6);
  EXPECT_NEAR(found.correlation(1, 2), 0.99251, 5e-6);
}

TEST(propagation_reference, without_its_correlations_h2_comes_out_otherwise) {
  InputQuantities inputs = means_of_readings();
  inputs.correlation.clear();
  // Recomputed by hand from the printed parts: 0.195, a factor of 2.7 away.
  EXPECT_GT(propagate(impedance[0], inputs).output.uncertainty, 0.15);
}

TEST(propagation_reference, averages_of_each_set_give_h2_again) {
  // H.2.4, approach 2; recomputed: u 0.07127, 0.29549, 0.23625.
  const std::vector<double> values{127.73163, 219.84689, 254.26005}, uncertainties{0.07127, 0.29549, 0.23625};
  for (std::size_t output = 0; output < 3; ++output) {
    std::vector<double> each;
    for (std::size_t k = 0; k < 5; ++k)
      each.push_back(impedance[output](std::vector<double>{readings[0][k], readings[1][k], readings[2][k]}));
    EXPECT_NEAR(moments(each).mean.value, values[output], 5e-6);
    EXPECT_NEAR(moments(each).mean.uncertainty, uncertainties[output], 5e-6);
  }
}

TEST(propagation_reference, the_thermometers_line_of_h3) {
  const std::vector<double> t{21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                              24.513, 25.002, 25.503, 26.010, 26.511};
  const std::vector<double> b{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                              -0.156, -0.157, -0.159, -0.161, -0.160};
  std::vector<double> design, covariance(121, 0.0);
  for (std::size_t i = 0; i < 11; ++i) {
    design.insert(design.end(), {1, t[i] - 20});
    covariance[i * 12] = 1;
  }
  const LinearFit fit = least_squares(design, b, covariance);
  const double s2 = fit.chi_square / fit.degrees_of_freedom;
  EXPECT_EQ(fit.degrees_of_freedom, 9);
  EXPECT_NEAR(std::sqrt(s2), 0.00349756, 5e-9);  // printed 0.0035
  const double u1 = std::sqrt(s2 * fit.covariance[0]), u2 = std::sqrt(s2 * fit.covariance[3]);
  const double r = fit.covariance[1] / std::sqrt(fit.covariance[0] * fit.covariance[3]);
  EXPECT_NEAR(fit.parameters[0], -0.17120379, 5e-9);  // printed -0.1712
  EXPECT_NEAR(u1, 0.00287760, 5e-9);                  // printed 0.0029
  EXPECT_NEAR(fit.parameters[1], 0.00218270, 5e-9);   // printed 0.00218
  EXPECT_NEAR(u2, 0.00066794, 5e-9);                  // printed 0.00067
  EXPECT_NEAR(r, -0.930430, 5e-7);                    // printed -0.930
  // The correction at 30 degrees: printed -0.1494, u 0.0041.
  const InputQuantities line{.estimates = {{fit.parameters[0], u1}, {fit.parameters[1], u2}},
                             .correlation = {1, r, r, 1}};
  const Propagated at_30 = propagate([](In y) { return y[0] + y[1] * (30 - 20); }, line);
  EXPECT_NEAR(at_30.output.value, -0.14937681, 5e-9);
  EXPECT_NEAR(at_30.output.uncertainty, 0.00413860, 5e-9);
}

}  // namespace
}  // namespace firstedge
