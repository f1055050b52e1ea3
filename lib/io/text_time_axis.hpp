// The time axis behind a column of printed times.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>

namespace firstedge {

/// Sample i was taken at first + i * interval, in the unit of the column.
struct TimeAxis {
  double first = 0;
  double interval = 0;
};

/// A row at which the times cannot be those of even sampling.
struct TimeFault {
  std::size_t row = 0;
  std::string problem;  ///< "jumps by 3 where the interval is 1"
};

/// What the times of one record say. Either fault is set, or axis holds.
struct TimeAxisFit {
  TimeAxis axis;
  std::optional<TimeFault> fault;
  /// Largest step that printing made between neighbouring times, in parts of the interval; 0 if the times are
  /// even. Above most_certain_rounding a missing row cannot be told from rounding for sure.
  double rounding = 0;
};

/// A missing row makes a step of at least 2 intervals less the rounding, rounding makes one of at most 1
/// interval more the rounding, and the interval is the median step, itself rounded: they stay apart up to a
/// third.
inline constexpr double most_certain_rounding = 1.0 / 3.0;

/// Fits the line t_i = first + i * interval by least squares (standard formula, e.g. JCGM 100:2008, H.3) and
/// checks every time against it.
///
/// Steps that are all alike within 1e-4 are taken as they are. Others are held against the rounding that the
/// digits show: q, one unit of the last decimal that any of the times has (or of the last significant digit
/// that any has, for numbers with exponents). Each printed time is off by at most q/2, so a step by at most
/// q, the median step too, and a point by at most 4/3 q from the fitted line (q/2 of its own, and q/2 times
/// the sum of the absolute weights, at most 5/3, with which the others enter the line's end). What is further
/// off is a jump. Where q exceeds a third of the interval, a step unlike the median counts as a jump if at
/// most one in 50, or only one, is unlike it.
///
/// Two finite times at least: fewer give a fault at row 0. Times that do not rise give a fault at the row
/// that does not. Accuracy: times printed with rounding q give the interval within 2 q / n of the truth for n
/// times (the absolute weights of the slope add up to less than 4 / n), the first within q. Times that are
/// even in double precision give it within n * 2^-52 relative.
TimeAxisFit fit_time_axis(std::span<const double> times);

/// The same for a known interval (in the column's unit): the first time is fitted. Times that stray from a
/// line altogether by more than the rounding q (by anything, if the interval is a whole number of q) give a
/// fault at the row behind the step that is furthest from the interval. One time is enough.
TimeAxisFit place_time_axis(std::span<const double> times, double interval);

}  // namespace firstedge
