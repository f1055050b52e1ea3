#include "firstedge/timing/crossing_height.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

SampleWeights one_sample(std::size_t sample) {
  SampleWeights weights;
  weights.add(sample, 1);
  return weights;
}

}  // namespace

PeakHeight peak_height(std::span<const double> volts, std::size_t peak) {
  if (peak == 0 || peak + 1 >= volts.size()) return {volts[peak], one_sample(peak)};
  const double rise = (volts[peak + 1] - volts[peak - 1]) / 2;
  const double bend = volts[peak + 1] - 2 * volts[peak] + volts[peak - 1];
  if (!(bend < 0)) return {volts[peak], one_sample(peak)};
  const double x = std::clamp(-rise / bend, -1.0, 1.0);
  SampleWeights weights;
  weights.add(peak - 1, x * (x - 1) / 2);
  weights.add(peak, 1 - x * x);
  weights.add(peak + 1, x * (x + 1) / 2);
  return {volts[peak] + rise * x + bend * x * x / 2, weights};
}

}  // namespace firstedge
