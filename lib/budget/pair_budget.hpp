// Pair budget: what the spread of the time difference of two channels is made of, term by term, and what
// would make it smaller.
#pragma once

#include "firstedge/budget/electronics.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/height_dependence.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace firstedge {

/// One channel of the pair; the vectors have one entry a pair, in order of records.
struct BudgetChannel {
  std::string name;
  Electronics electronics;
  std::size_t noise_samples = 0;  ///< the noise was learnt from
  std::vector<double> height_v, bound_s;
  std::vector<double> goodness;  ///< chi-square over degrees of freedom of the template fit; NaN: not fitted
};

/// Times of both channels over the records in which both are usable.
struct BudgetPair {
  std::string method;
  std::array<BudgetChannel, 2> channels;
  std::vector<double> difference_s;  ///< first less second
  std::uint64_t left_out = 0;        ///< records with a flag on either stamp, or without a time
};

/// Variances (s^2), each with its standard uncertainty. They may be negative where a term is the difference
/// of two measured ones: then it cannot be told from 0, and is shown as it came out.
struct ChannelBudget {
  Estimate noise, rounding, sampling, walk, shape;
  double bound_s = 0;
  bool rounding_holds = true;  ///< the noise is at least half a step, so that rounding acts as noise
  bool walk_known = true, shape_known = true;
  double total_s2() const;
};

/// The spread of the pair if one thing were other, everything else as it is.
struct Prediction {
  std::string key, change;
  double spread_s = 0, bound_s = 0;  ///< of the difference; NaN if it cannot be had
};

struct PairBudget {
  std::size_t pairs = 0, outliers = 0;  ///< outliers: beyond 5 central half widths from the median
  Estimate spread_s;                    ///< standard deviation of the differences without the outliers
  std::array<ChannelBudget, 2> channels;
  Estimate rest;       ///< variance (s^2): measured less all terms; negative when they explain too much
  double bound_s = 0;  ///< of the difference, root mean square
  HeightDependence heights;
  std::vector<Prediction> predictions;
};

struct BudgetOptions {
  std::size_t height_bins = 8;
  BootstrapOptions bootstrap{.resamples = 200};
};

/// The root of a variance with the sign of the variance, and its uncertainty: +-sqrt|v|, u/(2 sqrt|v|), at
/// most the root of u.
Estimate signed_root(const Estimate& variance);

/// Terms of each channel:
/// noise, rounding, sampling: electronic_variance() at nine heights that share the pulses evenly. The noise's
///   uncertainty is sqrt(2/n) of the samples it was learnt from, n lowered by its correlation (M. S.
///   Bartlett, J. R. Stat. Soc. Suppl. 8 (1946) 27; page from memory), and 2 % for the model of propagation
///   (an estimate of ours, which the simulations in tests/unit/budget do not contradict). Sampling: 10 %, an
///   estimate too (sixteen places); for a template fit it is next to nothing, since the template is moved
///   against itself: how well it was learnt is not in it.
/// walk: variance of the median difference over bins of this channel's height, less what its scatter gives.
///   The heights of two channels go together when one particle makes both: what moves with both is then in
///   both rows, and the rest turns negative.
/// shape: mean goodness of the template fits less 1, times noise and rounding: right when shapes differ as
///   noise does, from sample to sample; a change common to the whole edge moves times by more, and is then in
///   the rest. Not known without template fits.
/// rest: what the terms do not explain: the sensors' own spread, the clock of the digitizer, drifts.
///
/// Predictions change both channels alike. Throws Error for fewer than 100 pairs, and as electronic_variance
/// and bootstrap do.
PairBudget pair_budget(const BudgetPair& pair, const BudgetOptions& options = {});

}  // namespace firstedge
