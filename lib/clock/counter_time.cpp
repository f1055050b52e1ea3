#include "firstedge/clock/counter_time.hpp"

#include "firstedge/core/error.hpp"

#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::int64_t most_ticks = std::int64_t{1} << 62U;
constexpr double most_seconds = 9'007'199'254'740'992.0;  // 2^53: whole numbers above have gaps in a double

void check(const CounterReading& reading) {
  if (reading.ticks < -most_ticks || reading.ticks > most_ticks || !(reading.fraction >= 0) ||
      !(reading.fraction < 1))
    throw Error("counter", fmt::format("reading {} and {} of a tick", reading.ticks, reading.fraction),
                "give whole ticks within 2^62 and a part of a tick from 0 to below 1");
}

}  // namespace

CounterTime counter_time(const CounterReading& reading, const CounterReading& origin, double rate_hz) {
  check(reading);
  check(origin);
  const std::int64_t ticks = reading.ticks - origin.ticks;
  const auto high = static_cast<double>(ticks);
  // The largest difference, 2^63, does not come: readings lie within 2^62 of 0, and equal ends give 2^63 - 0.
  const double low =
      std::abs(high) < 9.2e18 ? static_cast<double>(ticks - static_cast<std::int64_t>(high)) : 0;
  const double whole = std::floor(high / rate_hz);
  if (!(std::abs(whole) < most_seconds))
    throw Error("counter", fmt::format("{} ticks at {} Hz are no time", ticks, rate_hz),
                "check the counter's nominal rate");
  // ticks - whole rate, exactly: the product in two doubles (T. J. Dekker, Numer. Math. 18 (1971) 224).
  const double product = whole * rate_hz;
  const double product_rest = std::fma(whole, rate_hz, -product);
  double rest_s = ((high - product) - product_rest + low + (reading.fraction - origin.fraction)) / rate_hz;
  const double carry = std::floor(rest_s);
  rest_s -= carry;
  auto seconds = static_cast<std::int64_t>(whole + carry);
  if (rest_s >= 1) {  // a negative rest below one rounding
    rest_s = 0;
    ++seconds;
  }
  return {seconds, rest_s};
}

double interval_s(const CounterTime& later, const CounterTime& earlier) {
  return static_cast<double>(later.seconds - earlier.seconds) + (later.rest_s - earlier.rest_s);
}

}  // namespace firstedge
