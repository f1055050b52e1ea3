// What the lines above (or beside) the numbers say: named values, and the few that mean something to us.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/io/text_numbers.hpp"
#include "firstedge/io/text_units.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// A header line, or the settings that stand beside one row of numbers.
struct HeaderLine {
  std::uint64_t line = 0;  ///< its number in the file, from 1
  std::string text;
};

/// A value with the place it was read from, for sentences: "line 3 ('Interval: 1 ns')".
template <typename Value>
struct HeaderFact {
  Value value{};
  std::string from;
};

/// What a header may say that has a meaning to us. The generic words that are recognised, written in any case
/// and with blanks, "_" or "-" between them, are listed with each.
struct HeaderFacts {
  /// Seconds. "interval", "increment", "spacing", "dt", "delta t", "time step", "sample period", "time per
  /// sample", with words such as time, sample, x, horizontal; or the inverse of "sample rate", "sampling
  /// frequency".
  std::optional<HeaderFact<double>> interval_s;
  /// Seconds. "start", "start time", "first sample", "x0", "t0", "time origin".
  std::optional<HeaderFact<double>> first_sample_s;
  /// "samples", "points", "record length", "number of samples".
  std::optional<HeaderFact<std::uint64_t>> samples;
  std::optional<HeaderFact<TextUnit>> time_unit;      ///< "time unit", "horizontal unit", "x unit", "units"
  std::optional<HeaderFact<TextUnit>> voltage_unit;   ///< "voltage unit", "vertical unit", "y unit", "units"
  std::optional<HeaderFact<double>> volts_per_count;  ///< "volts per count"
  /// ISO 8601. "trigger time", "trigger instant", "triggered at".
  std::optional<HeaderFact<Instant>> trigger;

  /// These facts, and below them those of `others` that are absent here.
  HeaderFacts over(const HeaderFacts& others) const;
};

/// The facts in the lines. Each may hold "key: value", "key = value", "key<delimiter>value[<delimiter>unit]"
/// or "key 1.5 ns", behind a comment mark or not, several on one line; the unit may stand with the key ("Dt
/// (ns)"). Values that cannot be read are no facts. The first of several equal keys counts.
HeaderFacts facts_of(std::span<const HeaderLine> lines, TextDialect dialect, TimeScale trigger_scale);

/// The line without a comment mark ("#", "%", "!", "//") at its front.
std::string_view without_comment_mark(std::string_view line);
bool is_comment(std::string_view line);

/// What a header line keeps when it is written again for the next record: the letters before its first
/// delimiter,
/// ':' or '=', in lower case ("Record 7" and "record 8" are alike); of fewer than three letters, all that
/// stands there.
std::string header_key(std::string_view line, char delimiter);

}  // namespace firstedge
