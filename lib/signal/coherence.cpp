#include "firstedge/signal/coherence.hpp"

#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/level_statistics.hpp"

#include <algorithm>
#include <bit>
#include <cassert>
#include <cmath>
#include <numbers>

namespace firstedge {
namespace {

constexpr std::size_t shortest_segment = 32;
constexpr std::size_t longest_segment = 1024;
constexpr double chance = 1e-3;
constexpr double independent_share = 0.95;  // Hann window at half overlap: Welch 1967

std::vector<std::complex<double>> transformed(std::span<const double> samples) {
  const double mean = mean_of_values(samples);
  std::vector<double> windowed(samples.size());
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double turn = 2 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(samples.size());
    windowed[i] = (0.5 - 0.5 * std::cos(turn)) * (samples[i] - mean);
  }
  return forward_fft(windowed);
}

}  // namespace

CoherenceAverage::CoherenceAverage(double interval_s, std::size_t segment)
    : interval_s_(interval_s), segment_(segment) {}

void CoherenceAverage::add(std::span<const double> first_v, std::span<const double> second_v) {
  assert(first_v.size() == second_v.size());
  if (first_v.size() < std::max(segment_, shortest_segment)) return;
  if (segment_ == 0) segment_ = std::bit_floor(std::min(first_v.size(), longest_segment));
  const std::size_t lines = segment_ / 2 + 1;
  first_.resize(lines);
  second_.resize(lines);
  cross_.resize(lines);
  for (std::size_t start = 0; start + segment_ <= first_v.size(); start += segment_ - segment_ / 2) {
    const auto x = transformed(first_v.subspan(start, segment_));
    const auto y = transformed(second_v.subspan(start, segment_));
    for (std::size_t k = 0; k < lines; ++k) {
      first_[k] += std::norm(x[k]);
      second_[k] += std::norm(y[k]);
      cross_[k] += std::conj(x[k]) * y[k];
    }
    ++segments_;
  }
}

Coherence CoherenceAverage::coherence() const {
  Coherence found{.frequency_hz = {}, .coherence = {}, .segments = segments_, .chance_level = 1};
  const double independent = independent_share * static_cast<double>(segments_);
  if (independent > 1) found.chance_level = 1 - std::pow(chance, 1 / (independent - 1));
  for (std::size_t k = 0; k < cross_.size(); ++k) {
    const double powers = first_[k] * second_[k];
    found.frequency_hz.push_back(static_cast<double>(k) / (static_cast<double>(segment_) * interval_s_));
    found.coherence.push_back(powers > 0 ? std::norm(cross_[k]) / powers : 0);
  }
  return found;
}

double coherence_at(const Coherence& coherence, double frequency_hz) {
  if (coherence.frequency_hz.size() < 2) return std::nan("");
  const double position = std::round(frequency_hz / coherence.frequency_hz[1]);
  const double last = static_cast<double>(coherence.coherence.size() - 1);
  return coherence.coherence[static_cast<std::size_t>(std::clamp(position, 0.0, last))];
}

std::vector<PickUpLine> common_lines(const PowerSpectrum& first, const PowerSpectrum& second,
                                     const Coherence& coherence) {
  std::vector<PickUpLine> common;
  if (first.frequency_hz.size() < 2 || second.frequency_hz.size() < 2) return common;
  const double bin_hz = std::max(first.frequency_hz[1], second.frequency_hz[1]);
  const std::vector<PickUpLine> others = find_pick_up_lines(second);
  for (const PickUpLine& line : find_pick_up_lines(first)) {
    const bool in_both = std::any_of(others.begin(), others.end(), [&](const PickUpLine& other) {
      return std::abs(other.frequency_hz.value - line.frequency_hz.value) <= bin_hz;
    });
    if (in_both && coherence_at(coherence, line.frequency_hz.value) > coherence.chance_level)
      common.push_back(line);
  }
  return common;
}

}  // namespace firstedge
