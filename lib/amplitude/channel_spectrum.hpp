// ChannelSpectrum: what is found of the pulse heights and charges of one channel.
#pragma once

#include "firstedge/amplitude/amplitude.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/stats/landau_gaussian_fit.hpp"
#include "firstedge/stats/spread.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// One quantity (height or charge) of one channel.
struct QuantitySpectrum {
  std::vector<double> values, clipped_values;  ///< of the pulses shown, without and with clipped samples
  std::uint64_t not_known = 0;                 ///< pulses shown otherwise, whose value is NaN
  LandauGaussianFit fit;
  Moments pedestal;       ///< of options.pedestals; count 0 where it has none
  Estimate level, noise;  ///< pedestal's mean and standard deviation as they are used
  Estimate signal_to_noise;
};

/// One channel. total = flagged + shown; shown holds clipped pulses too.
struct ChannelSpectrum {
  std::string channel;
  std::uint64_t total = 0, without_pulse = 0, flagged = 0, shown = 0, clipped = 0;
  std::array<std::uint64_t, flag_table.size()> by_flag{};  ///< among flagged
  Moments baseline_v;
  QuantitySpectrum height, charge;
};

ChannelSpectrum channel_spectrum(const AmplitudePulses& pulses, std::size_t channel,
                                 const AmplitudeOptions& options);

}  // namespace firstedge
