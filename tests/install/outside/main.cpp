// Times one pulse with the installed library; succeeds if the time is where the pulse was put.
#include <cmath>
#include <cstdio>

#include <firstedge/core/estimate.hpp>
#include <firstedge/timing/constant_fraction.hpp>

int main() {
  using namespace firstedge;
  ConditionedTrace trace;
  trace.interval_s = 0.2e-9;
  for (int i = 0; i < 200; ++i) {
    const double t = (i * trace.interval_s - 20e-9) / 1e-9;
    trace.volts.push_back(0.1 * std::exp(-0.5 * t * t));
  }
  const Pulse pulse{
      .region = {85, 116}, .peak = 100, .polarity = 1, .height_v = 0.1, .charge_c = 0, .flags = {}};
  const Stamp stamp = constant_fraction(trace, pulse, white_noise(1e-4, trace.interval_s), {.fraction = 0.5});
  // Half height of a Gaussian of 1 ns standard deviation: sqrt(2 ln 2) before its centre.
  const double expected_s = 20e-9 - 1.17741002252e-9;
  std::printf("%s\n",
              format_estimate({.value = stamp.time_s, .uncertainty = stamp.uncertainty_s}, "s").c_str());
  return std::abs(stamp.time_s - expected_s) < 1e-12 ? 0 : 1;
}
