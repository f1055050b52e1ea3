// Through: the delay of a cable, amplifier or attenuator from the same pulse recorded before and after it.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/result.hpp"
#include "firstedge/delay/correlation.hpp"
#include "firstedge/delay/echo_fit.hpp"
#include "firstedge/delay/pair_average.hpp"
#include "firstedge/delay/transfer.hpp"
#include "firstedge/timing/methods.hpp"
#include "firstedge/timing/pulse_search.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// A timing method on both channels. difference_s has one entry for each record of the average, in the order
/// of adding: the stamp after less the stamp before; NaN where one of them has no time or a flag.
struct ThroughMethod {
  std::string name;
  TimingMethod before, after;
  std::vector<double> difference_s;
};

/// All that was recorded. blur_s: standard deviation of the pulses' times about the place where the average
/// has them (records moved by whole samples only).
struct ThroughData {
  PairAverage average;
  std::vector<ThroughMethod> methods;
  SearchOptions before_search, after_search;
  double blur_s = 0;
  std::uint64_t left_out = 0;  ///< records without a usable pulse in both
  bool two_runs = false;       ///< before and after were recorded one after the other
};

/// The name of the cross-correlation among the ways of reading.
inline constexpr std::string_view correlation_way = "correlation";

/// What one way of reading the pulse says.
struct WayOfReading {
  std::string name;
  Estimate read_s;        ///< the delay it reads, for this pulse
  Estimate correction_s;  ///< what it reads too much over the bulk delay, by the fitted line
  Estimate corrected_s;   ///< read less correction: the bulk delay as this way has it
  std::size_t used = 0;   ///< records
};

struct ThroughDelay {
  Estimate bulk_delay_s;   ///< of the fitted line: arrival of the wave front
  Estimate loss_constant;  ///< K, s^(1/2)
  Estimate gain;           ///< after over before, beside the loss
  EchoFit fit;
  PairOfMeans means;
  CorrelationDelay correlation;
  std::vector<WayOfReading> ways;  ///< correlation first, then the methods
  std::vector<TransferBand> bands;
};

/// Fits gain * exp(-j w delay - K sqrt(j w)) to the mean traces (echo_fit.hpp) and reads the same pulse in
/// every other way.
///
/// Corrections: the fitted line is put behind the mean pulse before, both are read by the way in question,
/// and the bulk delay is taken off. Of methods: what the blur of the mean does is taken out by blurring once
/// more (the change counts once as correction, half as uncertainty).
///
/// Uncertainties, bulk delay, K, gain and correlation: the larger of the noise carried through the fit (times
/// the misfit where that is over 1.1) and of the jackknife over the groups of records. Differences of stamps:
/// their standard deviation over the root of the records. Corrections and corrected values: jackknife; NaN
/// for fewer than 8 records. Drift during the run is not in any of them.
///
/// Holds in 95 % of 200 simulated lines within two standard uncertainties, bulk delay and corrected values
/// (tests/unit/delay; with fewer than 16 records those of corrected values ask for the factor of their
/// degrees of freedom). Fails for devices that are no skin-effect line (amplifiers with a slow band,
/// filters): then the misfit is far from 1 and only what was read is of use. Throws Error for an average
/// without records, or one in which no pulse stands out of the noise.
ThroughDelay through_delay(const ThroughData& data);

/// Figures, tables "ways" and "bands", plots of the pulses, group delay and attenuation.
Result analyse_through(const ThroughData& data);

}  // namespace firstedge
