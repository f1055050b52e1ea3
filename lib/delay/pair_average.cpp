#include "firstedge/delay/pair_average.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/delay/padded.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t fewest_samples = 16;

}  // namespace

std::vector<double> mean_noise_power(const MeanTrace& mean, std::size_t padded) {
  // The transform of an even autocovariance that is wrapped around is its spectrum.
  const std::vector<double>& autocovariance = mean.head.noise.autocovariance_v2;
  std::vector<double> circle(padded, 0.0);
  const std::size_t lags = std::min(autocovariance.size(), padded / 2);
  for (std::size_t lag = 0; lag < lags; ++lag) {
    circle[lag] = autocovariance[lag];
    if (lag > 0) circle[padded - lag] = autocovariance[lag];
  }
  std::vector<double> power;
  for (const std::complex<double>& line : forward_fft(circle))
    power.push_back(std::max(0.0, line.real()) / static_cast<double>(std::max<std::size_t>(mean.records, 1)));
  return power;
}

std::vector<double> signal_band(const MeanTrace& mean, std::size_t padded) {
  const std::vector<double> noise = mean_noise_power(mean, padded);
  std::vector<double> sums{0};  // of the powers of all lines before
  for (const std::complex<double>& line : padded_fft(mean.volts, padded))
    sums.push_back(sums.back() + std::norm(line));
  const std::size_t reach = 8 * padded / mean.size();
  std::vector<double> weights;
  for (std::size_t k = 0; k < noise.size(); ++k) {
    const std::size_t first = k < reach ? 0 : k - reach;
    const std::size_t last = std::min(noise.size(), k + reach + 1);
    const double power = (sums[last] - sums[first]) / static_cast<double>(last - first);
    const double noise_share = power > 0 ? static_cast<double>(mean.size()) * noise[k] / power : 0;
    weights.push_back(std::max(0.0, 1 - 2 * noise_share));
  }
  return weights;
}

TraceAverage::TraceAverage(AverageHead head, std::size_t samples)
    : head_(std::move(head)), samples_(samples), sums_(most_groups, std::vector<double>(samples, 0.0)) {
  if (!(head_.interval_s > 0) || !std::isfinite(head_.interval_s))
    throw Error(fmt::format("channel '{}'", head_.name), "has no positive sample interval",
                "give its interval");
  if (samples < fewest_samples)
    throw Error(fmt::format("channel '{}'", head_.name), fmt::format("has {} samples a record", samples),
                fmt::format("record at least {}", fewest_samples));
}

void TraceAverage::add(std::span<const double> volts, std::ptrdiff_t shift) {
  assert(volts.size() == samples_);
  std::vector<double>& sum = sums_[records_ % most_groups];
  const auto last = static_cast<std::ptrdiff_t>(samples_) - 1;
  for (std::size_t i = 0; i < samples_; ++i) {
    const std::ptrdiff_t from = std::clamp<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(i) + shift, 0, last);
    sum[i] += volts[static_cast<std::size_t>(from)];
  }
  ++records_;
}

std::size_t TraceAverage::groups() const {
  return std::min(records_, most_groups);
}

MeanTrace TraceAverage::mean_without(std::size_t group) const {
  MeanTrace mean{.head = head_, .volts = std::vector<double>(samples_, 0.0), .records = 0};
  for (std::size_t g = 0; g < groups(); ++g) {
    if (g == group) continue;
    mean.records += records_ / most_groups + (g < records_ % most_groups ? 1 : 0);
    for (std::size_t i = 0; i < samples_; ++i) mean.volts[i] += sums_[g][i];
  }
  assert(mean.records > 0);
  for (double& value : mean.volts) value /= static_cast<double>(mean.records);
  return mean;
}

PairAverage::PairAverage(const AverageHead& before, const AverageHead& after, std::size_t samples)
    : before_(before, samples), after_(after, samples) {
  constexpr double same = 1e-9;
  if (std::abs(before.interval_s - after.interval_s) > same * before.interval_s)
    throw Error(fmt::format("channels '{}' and '{}'", before.name, after.name),
                "have different sample intervals", "record both with one time base");
  spectra_.samples = samples;
  spectra_.before.resize(samples / 2 + 1);
  spectra_.after.resize(samples / 2 + 1);
  spectra_.cross.resize(samples / 2 + 1);
}

void PairAverage::add(std::span<const double> before_v, std::span<const double> after_v,
                      std::ptrdiff_t shift) {
  before_.add(before_v, shift);
  after_.add(after_v, shift);
  const std::vector<std::complex<double>> x = forward_fft(before_v);
  const std::vector<std::complex<double>> y = forward_fft(after_v);
  for (std::size_t k = 0; k < x.size(); ++k) {
    spectra_.before[k] += std::norm(x[k]);
    spectra_.after[k] += std::norm(y[k]);
    spectra_.cross[k] += std::conj(x[k]) * y[k];
  }
  ++spectra_.records;
}

}  // namespace firstedge
