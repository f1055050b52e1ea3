// The most probable value and signal-to-noise that the amplitude analysis gives, against simulated truth seen
// through a threshold and a digitizer that clips.
#include "firstedge/amplitude/amplitude.hpp"

#include "firstedge/stats/landau.hpp"
#include "firstedge/stats/landau_gaussian.hpp"
#include "firstedge/stats/spread.hpp"

#include "support/landau_variate.hpp"
#include "support/random.hpp"
#include "support/result_parts.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// Heights of a thin sensor: most probable 100 mV, Landau width 8 mV, blurred by 6 mV; threshold at 80 mV,
// clipped at 160 mV. Charges: 10 pC/V.
constexpr LandauGaussian truth{.most_probable = 0.1, .landau_width = 0.008, .gaussian_width = 0.006};

std::vector<Stamp> seen_pulses(std::size_t count, std::uint64_t seed) {
  test::Random random(seed);
  std::vector<Stamp> stamps;
  for (std::size_t record = 0; record < count; ++record) {
    Stamp stamp{.record = record};
    stamp.height_v = truth.most_probable + truth.landau_width * (test::landau_variate(random) - landau_mode) +
                     random.normal(0, truth.gaussian_width);
    if (stamp.height_v < 0.08) continue;
    if (stamp.height_v > 0.16) {
      stamp.height_v = 0.16;
      stamp.flags = Flag::clipped;
    }
    stamp.charge_c = 1e-11 * stamp.height_v;
    stamp.noise_v = 2e-3;
    stamps.push_back(stamp);
  }
  return stamps;
}

TEST(amplitude_reference, the_most_probable_value_has_no_bias_and_true_uncertainties) {
  constexpr std::size_t runs = 40;
  std::vector<double> heights, pulls, charge_pulls;
  for (std::uint64_t seed = 1; seed <= runs; ++seed) {
    AmplitudePulses pulses({"S1"});
    pulses.add(seen_pulses(2000, seed));
    const Result result = analyse_amplitude(pulses);
    const Estimate height = test::figure_of(result, "most_probable_height_1");
    const Estimate charge = test::figure_of(result, "most_probable_charge_1");
    heights.push_back(height.value);
    pulls.push_back((height.value - truth.most_probable) / height.uncertainty);
    charge_pulls.push_back((charge.value - 1e-11 * truth.most_probable) / charge.uncertainty);
    // Most probable height over the noise of a sample, 50.
    const Estimate ratio = test::figure_of(result, "signal_to_noise_1");
    EXPECT_NEAR(ratio.value, height.value / 2e-3, 1e-9);
    EXPECT_NEAR(ratio.uncertainty, height.uncertainty / 2e-3, 1e-9);
  }
  // The bias within 3 standard errors of the runs.
  EXPECT_NEAR(moments(heights).mean.value, truth.most_probable, 3 * moments(heights).mean.uncertainty);
  for (const auto& each : {pulls, charge_pulls}) {
    // N(0, 1) within four standard errors; the likelihood's skewness adds about 3/sqrt(2000) to the mean.
    EXPECT_NEAR(moments(each).mean.value, 0, 4 / std::sqrt(runs) + 0.07);
    EXPECT_NEAR(moments(each).deviation.value, 1, 4 / std::sqrt(2.0 * runs));
  }
}

}  // namespace
}  // namespace firstedge
