// Landau and Moyal distributions: the energy losses of fast charged particles in a thin layer.
#pragma once

namespace firstedge {

// Standard form of K. S. Kolbig and B. Schorr, Comput. Phys. Commun. 31 (1984) 97, the same as GSL's:
//   phi(x) = 1/pi int_0^inf exp(-t ln t - x t) sin(pi t) dt.
// Another standard form is in use (Boost.Math): phi_other(x) = (pi/2) phi((pi/2) x + ln(pi/2)).
// Mean and variance do not exist. Constants computed from the definition with 30 digits (mpmath).
inline constexpr double landau_mode = -0.222782981256;
inline constexpr double landau_full_width_half_maximum = 4.01864571256;
inline constexpr double landau_median = 1.35578042099;

/// Density phi(x) by GSL's rational approximations: relative error below landau_density_error for x from -3
/// to 1000 (below 5e-9 up to 300). 0 where it underflows and for infinite x; NaN for NaN.
inline constexpr double landau_density_error = 5e-7;
double landau_density(double x);

/// Probability below x, from the definition integrated numerically: absolute error below
/// landau_cumulative_error. landau_survival keeps a relative error below 1e-8 up to x = 1e6.
inline constexpr double landau_cumulative_error = 1e-12;
double landau_cumulative(double x);
/// Probability above x.
double landau_survival(double x);

/// Moyal's density exp(-(x + exp(-x))/2)/sqrt(2 pi) and the probability below x, erfc(exp(-x/2)/sqrt 2)
/// (J. E. Moyal, Phil. Mag. 46 (1955) 263). A closed form that looks like Landau's but falls exponentially:
/// its tail is far too thin for heights of real pulses. Exact to rounding.
double moyal_density(double x);
double moyal_cumulative(double x);

}  // namespace firstedge
