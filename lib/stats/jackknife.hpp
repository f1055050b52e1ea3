// Jackknife: how far figures move when a part of the data is left out.
#pragma once

#include <cstddef>
#include <functional>
#include <vector>

namespace firstedge {

/// Standard uncertainties of figures from the same figures without one of `groups` equal parts of the data:
/// sqrt((G - 1)/G sum (f_g - mean)^2) (B. Efron and R. Tibshirani, An Introduction to the Bootstrap (1993),
/// ch. 11; from memory), with G - 1 degrees of freedom. NaN for fewer than fewest_jackknife_groups.
std::vector<double> jackknife(std::size_t groups,
                              const std::function<std::vector<double>(std::size_t)>& figures_without);

/// With fewer groups the uncertainty itself is known to no better than 30 %.
inline constexpr std::size_t fewest_jackknife_groups = 8;

}  // namespace firstedge
