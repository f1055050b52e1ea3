// Amplitude spectra: pulse heights and charges of each channel with pedestal and most probable value, and the
// frequency content of signal and noise.
#pragma once

#include "firstedge/amplitude/frequency.hpp"
#include "firstedge/core/result.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/stats/histogram.hpp"

#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Pulses of one channel, in the columns that the analysis needs. NaN where not known.
struct PulseColumn {
  std::vector<double> height_v, charge_c, baseline_v, noise_v;
  std::vector<FlagSet> flags;
  std::size_t size() const { return height_v.size(); }
};

/// Pulses of a run by channel, gathered from the stamp table block by block; 40 bytes a pulse. Where several
/// methods timed the same pulses, only the stamps of one are taken, the others are skipped.
class AmplitudePulses {
 public:
  /// Names by position, as in the head of the stamp table; method: position of the one whose stamps are
  /// taken. Throws Error for no channel or a name that is there twice.
  explicit AmplitudePulses(std::vector<std::string> channels, std::uint16_t method = 0);

  /// Every pulse of a trace counts. Throws Error for a stamp whose channel has no name.
  void add(std::span<const Stamp> stamps);

  const std::vector<std::string>& channels() const { return channels_; }
  const PulseColumn& column(std::size_t channel) const { return columns_[channel]; }
  /// Stamps without a pulse (no height and no charge) of a channel: counted, not kept.
  std::uint64_t without_pulse(std::size_t channel) const { return without_pulse_[channel]; }

 private:
  std::vector<std::string> channels_;
  std::vector<PulseColumn> columns_;
  std::vector<std::uint64_t> without_pulse_;
  std::uint16_t method_ = 0;
};

/// What the same measurement gives where there is no pulse: heights (V) at a fixed time of records without
/// pulse, charges (C) over a gate as long as a pulse's. Both may be empty.
struct Pedestal {
  std::string channel;
  std::vector<double> height_v, charge_c;
};

struct AmplitudeOptions {
  FlagSet allowed_flags = Flag::not_timed | Flag::undersampled | Flag::low_signal | Flag::poor_fit;
  BinOptions bins;
  /// Range of heights (V) and charges (C) that is fitted. Absent: from the lowest pulse to the lowest clipped
  /// one.
  std::optional<double> lowest_height_v, highest_height_v, lowest_charge_c, highest_charge_c;
  std::vector<Pedestal> pedestals;
  std::vector<ChannelSpectra> spectra;  ///< frequency content, shown with the rest where given
};

/// Pulse-height and charge spectra of each channel.
///
/// Pedestal: what is measured without a pulse. Where options.pedestals has the channel, its mean and standard
/// deviation; otherwise 0 (heights are counted from the baseline) with the median of the stamps' noise_v as
/// standard deviation, for heights only. The baseline's own mean and standard deviation over the pulses stand
/// beside it: they tell a wandering baseline.
///
/// Most probable value: Landau blurred by a normal distribution (stats/landau_gaussian_fit.hpp), fitted to
/// the unclipped pulses below the lowest clipped one and above the lowest pulse (a trigger's or a search's
/// threshold), the curve being cut at both. Signal-to-noise: most probable height less the pedestal, over the
/// pedestal's standard deviation.
///
/// Tables: "channels", "fits", "counts" (everything left out, by reason), and those of frequency_part. A
/// channel without pulses gives counts and a warning. Throws Error for options without sense (a range that
/// holds nothing, a pedestal or spectrum of an unknown channel).
Result analyse_amplitude(const AmplitudePulses& pulses, const AmplitudeOptions& options = {});

}  // namespace firstedge
