#include "firstedge/io/text_time_axis.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <limits>
#include <vector>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double even_step = 1e-4;      // steps alike within this are not rounding's
constexpr double even_residual = 1e-3;  // of an interval: even steps must not drift away from the line either
// Slack for the arithmetic of the fit itself, relative to the interval.
constexpr double arithmetic_slack = 1e-6;

// 0.20000000000000004 -> 0.2: the decimal of 12 digits, if it is within 1e-13 relative, so that records of
// one time base have the same interval to the last bit.
double without_noise_of_arithmetic(double interval) {
  std::array<char, 40> text{};
  const auto written =
      std::to_chars(text.data(), text.data() + text.size(), interval, std::chars_format::scientific, 11);
  double rounded = interval;
  std::from_chars(text.data(), written.ptr, rounded);
  return std::abs(rounded - interval) <= 1e-13 * std::abs(interval) ? rounded : interval;
}

TimeAxis least_squares(std::span<const double> times) {
  const auto n = static_cast<double>(times.size());
  const double middle = (n - 1) / 2;
  double sum = 0;
  double moment = 0;
  for (std::size_t i = 0; i < times.size(); ++i) {
    const double t = times[i] - times[0];
    sum += t;
    moment += (static_cast<double>(i) - middle) * t;
  }
  const double interval = without_noise_of_arithmetic(moment * 12 / (n * (n * n - 1)));
  const double to_first = sum / n - middle * interval;
  const bool is_noise = std::abs(to_first) <= 1e-12 * interval;
  return {is_noise ? times[0] : times[0] + to_first, interval};
}

double residual(std::span<const double> times, const TimeAxis& axis, std::size_t i) {
  return times[i] - axis.first - static_cast<double>(i) * axis.interval;
}

// Comparisons are written so that a NaN from overflow is uneven.
bool is_even(std::span<const double> times, const TimeAxis& axis) {
  if (!(axis.interval > 0)) return false;
  for (std::size_t i = 0; i < times.size(); ++i) {
    const double step = i == 0 ? axis.interval : times[i] - times[i - 1];
    if (!(std::abs(step - axis.interval) <= even_step * axis.interval)) return false;
    if (!(std::abs(residual(times, axis, i)) <= even_residual * axis.interval)) return false;
  }
  return true;
}

// The digits of a time in the shortest form that reads back to the same double.
struct Digits {
  int count = 1;     // significant ones
  int exponent = 0;  // of the first
};

Digits digits_of(double value) {
  std::array<char, 40> text{};
  const auto written =
      std::to_chars(text.data(), text.data() + text.size(), std::abs(value), std::chars_format::scientific);
  Digits digits{0, 0};
  const char* c = text.data();
  for (; c != written.ptr && *c != 'e'; ++c) digits.count += *c != '.' ? 1 : 0;
  if (c == written.ptr) return digits;
  if (*++c == '+') ++c;
  std::from_chars(c, written.ptr, digits.exponent);
  return digits;
}

// The rounding of each printed time: one unit of its last digit.
std::vector<double> rounding_of(std::span<const double> times) {
  std::vector<Digits> digits;
  digits.reserve(times.size());
  int most_digits = 1;
  int last_decimal = 400;
  for (const double time : times) {
    digits.push_back(digits_of(time));
    if (time == 0) continue;
    most_digits = std::max(most_digits, digits.back().count);
    last_decimal = std::min(last_decimal, digits.back().exponent - digits.back().count + 1);
  }
  std::vector<double> rounding;
  rounding.reserve(times.size());
  for (std::size_t i = 0; i < times.size(); ++i) {
    const int by_digits = times[i] == 0 ? last_decimal : digits[i].exponent - most_digits + 1;
    const double double_spacing = std::abs(times[i]) * std::numeric_limits<double>::epsilon();
    rounding.push_back(std::max(std::pow(10.0, std::max(last_decimal, by_digits)), double_spacing));
  }
  return rounding;
}

std::vector<double> steps_of(std::span<const double> times) {
  std::vector<double> steps(times.size() - 1);
  for (std::size_t i = 0; i < steps.size(); ++i) steps[i] = times[i + 1] - times[i];
  return steps;
}

double lower_median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>((values.size() - 1) / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

TimeFault step_fault(std::size_t row, double step, double interval) {
  if (step == 0) return {row, "is equal to the one before"};
  if (step < 0) return {row, fmt::format("goes back by {:.6g}", -step)};
  return {row, fmt::format("jumps by {:.6g} where the interval is {:.6g}", step, interval)};
}

// The first step that is too far from the usual one, for times printed finely enough.
std::optional<TimeFault> fault_in_fine_steps(const std::vector<double>& steps, double usual,
                                             const std::vector<double>& rounding) {
  for (std::size_t i = 0; i < steps.size(); ++i) {
    const double allowed = 2 * std::max(rounding[i], rounding[i + 1]) + arithmetic_slack * usual;
    if (std::abs(steps[i] - usual) > allowed) return step_fault(i + 1, steps[i], usual);
  }
  return std::nullopt;
}

// The same where printing hides much: few odd steps among equal ones are jumps, many are rounding.
std::optional<TimeFault> fault_in_coarse_steps(const std::vector<double>& steps, double usual) {
  std::size_t odd = 0;
  std::size_t first_odd = 0;
  for (std::size_t i = 0; i < steps.size(); ++i) {
    if (steps[i] < 0) return step_fault(i + 1, steps[i], usual);
    if (std::abs(steps[i] - usual) <= even_step * usual) continue;
    if (odd++ == 0) first_odd = i;
  }
  if (odd > 0 && usual > 0 && odd <= std::max<std::size_t>(1, steps.size() / 50)) {
    return step_fault(first_odd + 1, steps[first_odd], usual);
  }
  return std::nullopt;
}

std::optional<TimeFault> fault_of_residuals(std::span<const double> times, const TimeAxis& axis,
                                            double allowed) {
  for (std::size_t i = 0; i < times.size(); ++i) {
    const double off = residual(times, axis, i);
    if (!(std::abs(off) <= allowed)) {
      return TimeFault{
          i, fmt::format("is {:.6g} off even sampling with the interval {:.6g}", off, axis.interval)};
    }
  }
  return std::nullopt;
}

}  // namespace

TimeAxisFit fit_time_axis(std::span<const double> times) {
  TimeAxisFit fit;
  if (times.size() < 2) {
    fit.fault = TimeFault{0, "stands alone: one row gives no interval"};
    return fit;
  }
  fit.axis = least_squares(times);
  if (!std::isfinite(fit.axis.first) || !std::isfinite(fit.axis.interval)) {
    fit.fault = TimeFault{0, "and those below it are too large for a time"};
    return fit;
  }
  if (is_even(times, fit.axis)) return fit;

  const std::vector<double> steps = steps_of(times);
  const double usual = lower_median(steps);
  const std::vector<double> rounding = rounding_of(times);
  const double largest = *std::max_element(rounding.begin(), rounding.end());
  const bool fine = largest <= most_certain_rounding * usual;
  fit.fault = fine ? fault_in_fine_steps(steps, usual, rounding) : fault_in_coarse_steps(steps, usual);
  if (fit.fault) return fit;
  if (!(fit.axis.interval > 0)) {
    fit.fault = TimeFault{1, "does not rise"};
    return fit;
  }
  fit.rounding = largest / fit.axis.interval;
  fit.fault = fault_of_residuals(times, fit.axis, 4.0 / 3.0 * largest + arithmetic_slack * fit.axis.interval);
  return fit;
}

TimeAxisFit place_time_axis(std::span<const double> times, double interval) {
  TimeAxisFit fit;
  if (times.empty()) return fit;
  double sum = 0;
  double least = 0;
  double most = 0;
  std::size_t worst =
      std::min<std::size_t>(1, times.size() - 1);  // row behind the step furthest from the interval
  double furthest = 0;
  for (std::size_t i = 0; i < times.size(); ++i) {
    const double off = times[i] - times[0] - static_cast<double>(i) * interval;
    sum += off;
    least = std::min(least, off);
    most = std::max(most, off);
    const double step_off = i == 0 ? 0 : std::abs(times[i] - times[i - 1] - interval);
    if (step_off > furthest) {
      furthest = step_off;
      worst = i;
    }
  }
  fit.axis = {times[0] + sum / static_cast<double>(times.size()), interval};
  const double range = most - least;
  if (range <= even_step * interval) return fit;
  const std::vector<double> rounding = rounding_of(times);
  const double largest = *std::max_element(rounding.begin(), rounding.end());
  const double parts = interval / largest;
  const bool hits_the_digits = std::abs(parts - std::round(parts)) < even_step;
  const double allowed = (hits_the_digits ? 0 : largest) + arithmetic_slack * interval;
  if (!(range <= allowed)) fit.fault = step_fault(worst, times[worst] - times[worst - 1], interval);
  return fit;
}

}  // namespace firstedge
