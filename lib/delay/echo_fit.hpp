// Echo fit: a trace as the sum of delayed, scaled and skin-effect-smeared copies of another one.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/trace.hpp"
#include "firstedge/delay/pair_average.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

/// One copy: gain * before(t - delay_s), smeared by the loss constant loss_share * K.
struct Echo {
  double delay_s = 0;
  double gain = 1;
  double loss_share = 1;
};

/// after(t) = baseline_v + sum over the echoes.
struct EchoModel {
  double loss_constant = 0;  ///< K, s^(1/2)
  double baseline_v = 0;
  std::vector<Echo> echoes;
};

struct EchoFitOptions {
  bool fit_loss = true;         ///< or K stays as it is in the start
  std::size_t most_steps = 60;  ///< of the fit, which needs some 5 to 10
};

/// A fitted model. covariance: row by row, of K, baseline, then delay and gain of each echo, in SI units; the
/// row of K is 0 where it was not fitted.
struct EchoFit {
  EchoModel model;
  std::vector<double> covariance;
  bool converged = false;
  double misfit = 1;            ///< root mean square of what is left over what the noise would leave
  std::vector<double> model_v;  ///< the model over the whole record
  std::vector<double> left_v;   ///< after less model, over the whole record

  double variance(std::size_t row) const { return covariance_of(row, row); }
  double covariance_of(std::size_t row, std::size_t column) const {
    return covariance[row * parameters() + column];
  }
  std::size_t parameters() const { return 2 + 2 * model.echoes.size(); }
  static std::size_t delay_row(std::size_t echo) { return 2 + 2 * echo; }
  static std::size_t gain_row(std::size_t echo) { return 3 + 2 * echo; }
  Estimate loss_constant() const;
  Estimate delay_s(std::size_t echo) const;
  Estimate gain(std::size_t echo) const;
};

/// What is fitted: `before` as it is (0 outside of its record), and the samples `window` of `after`. Both
/// have one interval and size.
struct EchoData {
  MeanTrace before, after;
  SampleRange window;
};

/// Least squares in the time domain by damped Gauss-Newton steps, frequencies weighed by signal_band() of
/// `before`: noise beside the band of the pulse does no harm. The model is the transform of
/// `before` times exp(-j w delay - K sqrt(j w)) on a padded circle, read in the window: what a record cuts
/// off the long tail of a loss is cut off in the model too. Noise of `before` would draw K up and the gain
/// down (errors in variables): its expected share of the squares is taken out of them.
///
/// Covariance: the noise of both means, with their spectra, carried through the fit (exact to first order;
/// the weights are those of unweighted squares). A misfit above 1 is not in it.
///
/// Accuracy without noise: delay to 1e-4 of an interval, K to 3e-4 of itself, when the band of the pulse ends
/// below half the sampling rate and the record holds the pulse (tests/unit/delay). Fails where `before` does
/// not come back to its baseline within the record, and for lines that are not of this kind: see misfit.
/// A trace without the pulse gives a gain within a few of its uncertainties of 0.
EchoFit fit_echoes(const EchoData& data, const EchoModel& start, const EchoFitOptions& options = {});

/// A start for a single echo: the loss on a logarithmic grid and the delay, to the sample, at which the model
/// explains most of the window; sign 0 lets the gain have either sign.
EchoModel first_guess(const EchoData& data, int sign = 0);

}  // namespace firstedge
