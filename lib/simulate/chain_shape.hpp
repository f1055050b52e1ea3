// The noiseless pulse shape behind sensor, band, coupling and cable, at any time between the samples.
#pragma once

#include "firstedge/simulate/plan.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

/// s(t) with peak 1, t from the particle's passage; with a line, the pulse put into the line has peak 1, and
/// s(t) is what is seen of it. Made in the frequency domain on a grid 32 times finer
/// than the sample interval and read between its points by quintic interpolation; the error of a value is
/// below 1e-7 of the peak when the band is below a quarter of the sampling rate (tests/unit/simulate holds it
/// against the closed form).
class ChainShape {
 public:
  ChainShape(const ShapePlan& plan, double interval_s);

  double operator()(double time_s) const;
  /// The time at which the leading edge crosses this fraction of the peak.
  double crossing_s(double fraction) const;
  double peak_s() const { return peak_s_; }
  double peak() const { return peak_; }  ///< 1 without a line
  /// The stretch outside of which the shape is 0.
  double first_s() const { return first_s_; }
  double last_s() const { return first_s_ + grid_s_ * static_cast<double>(values_.size() - 1); }

 private:
  double grid_s_ = 0, first_s_ = 0, peak_s_ = 0, peak_ = 1;
  std::vector<double> values_;
};

/// Standard deviation in time of a Gaussian response with its -3 dB point at band_hz: sqrt(ln 2 / 2) / (pi
/// band) / sqrt 2 = 0.13250518 / band (derived from |H|^2 = 1/2).
double gaussian_response_s(double band_hz);

}  // namespace firstedge
