// Transfer function of what lies between two channels: group delay and attenuation against frequency.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/delay/pair_average.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

/// A third of an octave. frequency_hz is the middle that the weights of its lines give.
struct TransferBand {
  double frequency_hz = 0;
  double low_hz = 0, high_hz = 0;
  Estimate group_delay_s, attenuation_db;
  double coherence = 0;  ///< mean over its lines, 0 to 1
  std::size_t lines = 0;
};

struct TransferOptions {
  double bands_per_octave = 3;
  std::size_t fewest_lines = 3;  ///< of a record's transform in a band
};

/// Averaged cross-spectrum over averaged auto-spectrum, the noise of `before` taken out of the latter, in
/// bands in rising order. A band is there if it has enough lines, each of them more coherent than chance
/// gives in one of a thousand cases (1 - p^(1/(n - 1)) for n records, as in CoherenceAverage), and signal in
/// `before` over its noise. Group delay: minus the slope of the phase over the band; attenuation: minus the
/// mean gain, dB.
///
/// Uncertainty: from the coherence g2 of n records, standard deviation of gain (relative) and phase of a line
/// sqrt((1 - g2)/(2 n g2)) (J. S. Bendat and A. G. Piersol, Random Data (2010), 9.2; from memory), times
/// sqrt(n/(n - 1)); and what the end of the record cuts off `after`: the mean of its last sixteenth as a
/// step, over the spectrum of the pulse. Degrees of freedom 2 (n - 1) a line. Fewer than 8 records: no bands.
///
/// delay_s: a first value of the delay, good to a tenth of a record; it is taken out before the phase is
/// followed. Errors of the fit by a straight phase: below 1 % of the part of the delay that the loss makes,
/// for a skin-effect line and third-octaves (tests/unit/delay).
std::vector<TransferBand> transfer_bands(const PairAverage& average, double delay_s,
                                         const TransferOptions& options = {});

}  // namespace firstedge
