// Frequency content: amplitude spectra of signal and noise side by side.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/signal/noise.hpp"

#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Spectra of one channel, as lib/signal makes them: `signal` of stretches that hold pulses, `noise` of
/// stretches without, of equal length. Either may be empty.
struct ChannelSpectra {
  std::string channel;
  PowerSpectrum signal, noise;
  std::vector<PickUpLine> lines;
};

/// What is to be added to a Result.
struct FrequencyPart {
  std::vector<Table> tables;  ///< "bands" (one row a channel) and "pick_up_lines"
  std::vector<Plot> plots;    ///< one a channel
  std::vector<std::string> warnings;
};

/// Amplitude spectral densities (V/sqrt(Hz), the square root of the power densities) against frequency on
/// logarithmic axes. Table "bands": noise rms (the density integrated), and the frequency above which the
/// signal no longer stands over twice the noise power: what lies above it can be filtered away. Table
/// "pick_up_lines": lines with frequency, amplitude and excess. The value at 0 Hz (the mean) is left out.
/// Throws Error for a spectrum whose columns differ in size.
FrequencyPart frequency_part(std::span<const ChannelSpectra> spectra);

}  // namespace firstedge
