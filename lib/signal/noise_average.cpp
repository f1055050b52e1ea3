#include "firstedge/signal/noise_average.hpp"

#include <algorithm>
#include <bit>

namespace firstedge {
namespace {

constexpr std::size_t shortest_segment = 32;
constexpr std::size_t longest_segment = 1024;

}  // namespace

NoiseAverage::NoiseAverage(double interval_s, std::size_t most_stretches)
    : interval_s_(interval_s), most_stretches_(most_stretches) {}

void NoiseAverage::add(std::span<const double> quiet_v) {
  if (spectra_.size() >= most_stretches_ || quiet_v.size() < std::max(segment_, shortest_segment)) return;
  if (segment_ == 0) segment_ = std::bit_floor(std::min(quiet_v.size(), longest_segment));
  spectra_.push_back(welch(quiet_v, interval_s_, segment_));
}

PowerSpectrum NoiseAverage::spectrum() const {
  return spectra_.empty() ? PowerSpectrum{} : mean_of(spectra_);
}

}  // namespace firstedge
