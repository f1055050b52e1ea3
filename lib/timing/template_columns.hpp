// Template columns: the template sampled, whitened and multiplied out for every position of the sampling
// grid, so that fitting a pulse is a few sums of products.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/timing/missing_samples.hpp"
#include "firstedge/timing/noise_whitening.hpp"
#include "firstedge/timing/template_shape.hpp"
#include "firstedge/timing/template_solution.hpp"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// The columns whitened, shape (rows,) each, and their products with one another.
struct WhiteColumns {
  std::array<std::vector<double>, 4> column;
  FourByFour product{};
  std::size_t rows_used = 0;  ///< how many samples' worth of knowledge is in them
};

/// What else than the noise of the model disturbs a fitted time, as shares of its variance.
struct TimeShares {
  double of_extra_noise = 0;  ///< per V^2 of white noise on top of the model
  double of_template = 0;     ///< per V^2 of pulse height: the template's own uncertainty
  double level_samples = 0;   ///< time per volt of level left in the data, at height 1 V, when none is fitted
};

class TemplateColumns {
 public:
  /// Positions within a sample at which the columns stand ready. Between them the series to second order in
  /// d <= 1/32 sample is off by d^3/6 times the third derivative: 1e-6 of the height for an edge (10 % to 90
  /// %) of 4.5 samples, 1e-5 at 2 samples.
  static constexpr int positions_per_sample = 16;

  /// Throws Error for a template that TemplateShape refuses or that does not fit noise.interval_s.
  TemplateColumns(const PulseTemplate& pulse_template, const NoiseModel& noise, bool fit_level);

  /// Where a time (in samples of the trace) stands: time = whole + position_of(ready) + rest.
  struct Place {
    std::ptrdiff_t whole = 0;
    std::size_t ready = 0;
    double rest = 0;
  };
  /// The nearest place. `whole` is kept up to one sample away from it, so that a fit whose time comes to rest
  /// between two samples does not go to and fro between their windows.
  Place place_of(double time_samples, std::ptrdiff_t whole) const;
  Place place_of_nearest(double time_samples) const;
  double time_of(const Place& place) const;
  /// How many places stand ready, and where each is from its whole sample.
  static std::size_t places();
  static double position_of(std::size_t ready);

  /// The window of a pulse: samples [whole + first_offset(), whole + first_offset() + samples()), wholly
  /// within the template's support for every place.
  std::ptrdiff_t first_offset() const { return first_offset_; }
  std::size_t samples() const { return samples_; }

  /// All samples of the window.
  const WhiteColumns& whole_window(std::size_t ready) const { return ready_[ready].white; }
  const TimeShares& whole_window_shares(std::size_t ready) const { return ready_[ready].shares; }
  /// Rows [first, first + rows) of the window only, whitened for themselves, without what is missing of them.
  WhiteColumns part_of_window(std::size_t ready, std::size_t first, std::size_t rows,
                              const MissingSamples& missing) const;
  TimeShares shares_of(const WhiteColumns& columns, std::size_t ready, std::size_t first) const;

  /// The window's samples of a pulse of height 1 V at a time, not whitened: shape, its derivative with the
  /// time (per sample), and the template's standard uncertainty. Shape (samples(),) each, from sample `first`
  /// of the trace on.
  struct Sampled {
    std::ptrdiff_t first = 0;
    std::vector<double> shape, slope, uncertainty;
  };
  Sampled sampled(double time_samples) const;

  /// The same whitened as it stands amid zeros (NoiseWhitening::whitened_amid_zeros), a series in `rest`:
  /// shape + rest slope + rest^2/2 curvature, and its derivative. Shape (samples() + whitening().order(),)
  /// each, from sample `first` of the trace on. A view.
  struct WhiteAmidZeros {
    std::ptrdiff_t first = 0;
    double rest = 0;
    std::span<const double> shape, slope, curvature;
  };
  WhiteAmidZeros white_amid_zeros(double time_samples) const;

  const NoiseWhitening& whitening() const { return whitening_; }
  const TemplateShape& shape() const { return shape_; }
  double interval_s() const { return interval_s_; }
  bool fits_level() const { return fit_level_; }
  double variance_v2() const { return variance_v2_; }  ///< of the noise; 1 V^2 when it is not known
  /// Share of chi-square from the template's uncertainty, per V^2 of height; and from extra white noise, per
  /// V^2.
  double chi_square_share_of_template() const { return chi_square_share_of_template_; }
  double chi_square_share_of_extra_noise() const { return chi_square_share_of_extra_noise_; }

 private:
  struct Ready {
    std::array<std::vector<double>, 4> plain;
    std::vector<double> uncertainty;
    WhiteColumns white;
    std::array<std::vector<double>, 3> white_amid_zeros;
    TimeShares shares;
  };
  Ready sampled_at(double position) const;

  TemplateShape shape_;
  double interval_s_ = 0;
  double variance_v2_ = 1;  // of the noise; 1 V^2 when it is not known, as its whitening has it
  bool fit_level_ = true;
  NoiseWhitening whitening_;
  std::ptrdiff_t first_offset_ = 0;
  std::size_t samples_ = 0;
  std::vector<Ready> ready_;
  double chi_square_share_of_template_ = 0;
  double chi_square_share_of_extra_noise_ = 0;
};

}  // namespace firstedge
