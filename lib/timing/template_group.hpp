// Template group: pulses that overlap, fitted together.
#pragma once

#include "firstedge/timing/group_samples.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// Every pulse of a group. pulses[k] is member k as given; in each of them level_v, chi_square and
/// degrees_of_freedom are those of the whole group, explained is its squared height over the variance of the
/// height with everything else free, information 1 over the variance of its time likewise, and the shares
/// hold what the other pulses add to them.
struct FittedGroup {
  std::vector<FittedPulse> pulses;
  double chi_square = 0;
  std::size_t degrees_of_freedom = 0;
  /// Weights of the samples in the height of each member, shape (members, samples).
  std::vector<std::vector<double>> height_weights;
};

/// Fits the times and heights of all members and one level to all samples: sample i is the sum over the
/// members of height_k * shape(t_i - time_k), and the level. Least squares by the covariance of the noise;
/// heights and level are solved for at each trial of the times, the step of the times is that of the full
/// Gauss-Newton method, as for one pulse (template_solution.hpp), at most half a transition duration (or a
/// sample) long and halved where it does not lower chi-square. Uncertainties come from the inverse of the
/// joint information matrix J' C^-1 J, so that they grow as two pulses come close. Source: S. Kay, Estimation
/// Theory (1993), 3.7 and 8.9 (sections from memory).
///
/// samples: positive for polarity +1, all that the supports of the members reach; samples outside a member's
/// support do not know of it. Nothing when the steps do not come below 1e-4 of the uncertainties within 40
/// trials, a height does not come out over 0 in its member's polarity, the columns cannot be told from one
/// another, or fewer than 2 degrees of freedom are left. The work of a trial is samples * members^2.
std::optional<FittedGroup> fit_group(const TemplateColumns& columns, const PulseSamples& samples,
                                     std::span<const GroupMember> members);

/// Chi-square of the group with the times as they stand; nothing where fit_group would find nothing.
std::optional<double> chi_square_at(const TemplateColumns& columns, const PulseSamples& samples,
                                    std::span<const GroupMember> members);

}  // namespace firstedge
