#include "firstedge/jitter/jitter_tables.hpp"

#include <cmath>
#include <limits>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;

double count(std::uint64_t number) {
  return static_cast<double>(number);
}

}  // namespace

Table pairs_table(std::span<const JudgedPair> pairs) {
  Table table{.key = "pairs",
              .title = "Spread of the time differences",
              .note =
                  "Uncertainties by bootstrap over records. A normal distribution has 0.0027 beyond 3 "
                  "widths and 5.7 × 10⁻⁷ beyond 5, a core fraction of 1, and equal widths in all columns.",
              .columns = {{"pair", "Pair", ""},
                          {"pairs_used", "Pairs used", ""},
                          {"mean", "Mean", "s"},
                          {"standard_deviation", "Standard deviation", "s"},
                          {"central_half_width", "Central half width (68.3 %)", "s"},
                          {"core_width", "Gaussian core width", "s"},
                          {"core_fraction", "Core fraction", ""},
                          {"beyond_3", "Beyond 3 core widths", ""},
                          {"beyond_5", "Beyond 5 core widths", ""},
                          {"core_fit", "Core fit", ""}}};
  for (const auto& [sample, found, heights] : pairs)
    table.rows.push_back(Row{sample.name, count(found.pairs), found.mean, found.deviation, found.half_width,
                             found.core_width, found.core_fraction, found.beyond_3, found.beyond_5,
                             std::string(words_of(found.core.outcome))});
  return table;
}

Table bounds_table(std::span<const JudgedPair> pairs) {
  Table table{.key = "bounds",
              .title = "The spread against the Cramér-Rao bound and the stated uncertainties",
              .note =
                  "Bound and stated uncertainty: both channels in quadrature, root mean square over the "
                  "pairs. 'Pair by pair': central half width of each difference over its own bound, 1 "
                  "for the best possible method. Pulls: differences from the median over their stated "
                  "uncertainty; true uncertainties give a width of 1 and a share of 0.683 within 1.",
              .columns = {{"pair", "Pair", ""},
                          {"standard_deviation", "Standard deviation", "s"},
                          {"bound", "Cramér-Rao bound", "s"},
                          {"stated", "Stated uncertainty", "s"},
                          {"deviation_over_bound", "Standard deviation over bound", ""},
                          {"half_width_over_bound", "Width over bound, pair by pair", ""},
                          {"pull_deviation", "Pulls: standard deviation", ""},
                          {"pull_half_width", "Pulls: central half width", ""},
                          {"pulls_within_1", "Pulls: share within 1", ""},
                          {"pairs_with_bound", "Pairs with a bound", ""}}};
  for (const auto& [sample, found, heights] : pairs)
    table.rows.push_back(Row{sample.name, found.deviation, found.bound_s, found.stated_s,
                             found.deviation_over_bound, found.half_width_over_bound, found.pull_deviation,
                             found.pull_half_width, found.pulls_within_1, count(found.with_bound)});
  return table;
}

Table intervals_table(std::span<const JudgedPair> pairs, double coverage) {
  Table table{.key = "intervals",
              .title = fmt::format("Bootstrap intervals, coverage {:.2f} %", 100 * coverage),
              .note =
                  "Percentile intervals, and the same corrected for the bias of the resampled figure's "
                  "median.",
              .columns = {{"pair", "Pair", ""},
                          {"figure", "Figure", ""},
                          {"value", "Value", "s"},
                          {"low", "Percentile, from", "s"},
                          {"high", "to", "s"},
                          {"corrected_low", "Corrected, from", "s"},
                          {"corrected_high", "to", "s"}}};
  static constexpr std::array<std::string_view, pair_figure_count - 1> names{
      "mean", "standard deviation", "central half width", "core centre", "core width"};
  for (const auto& [sample, found, heights] : pairs) {
    for (std::size_t i = 0; i < names.size(); ++i) {
      const Bootstrapped& drawn = found.intervals.at(i);
      table.rows.push_back(Row{sample.name, std::string(names.at(i)), drawn.value, drawn.percentile.low,
                               drawn.percentile.high, drawn.corrected.low, drawn.corrected.high});
    }
  }
  return table;
}

Table heights_table(std::span<const JudgedPair> pairs) {
  Table table{.key = "heights",
              .title = "Jitter against height",
              .note =
                  "Bins of equal population in the lower of the two heights. Median: its course with "
                  "height is the walk that the method leaves.",
              .columns = {{"pair", "Pair", ""},
                          {"low", "Heights from", "V"},
                          {"high", "to", "V"},
                          {"height", "Mean height", "V"},
                          {"pairs_used", "Pairs", ""},
                          {"median", "Median difference", "s"},
                          {"central_half_width", "Central half width", "s"},
                          {"bound", "Cramér-Rao bound", "s"}}};
  for (const auto& [sample, found, heights] : pairs) {
    for (const HeightBin& bin : heights.bins)
      table.rows.push_back(Row{sample.name, bin.low_v, bin.high_v, bin.height_v, count(bin.pairs),
                               bin.median_s, bin.spread_s, bin.bound_s});
  }
  return table;
}

Table height_laws_table(std::span<const JudgedPair> pairs) {
  Table table{.key = "height_laws",
              .title = "The law σ² = (a/height)² + b²",
              .note =
                  "a grows with noise over slope, b is what no height takes away. A square fitted below "
                  "0 has no root; it is compatible with 0 when its uncertainty is of its size.",
              .columns = {{"pair", "Pair", ""},
                          {"a", "a", "V s"},
                          {"b", "b", "s"},
                          {"b_squared", "b²", "s^2"},
                          {"chi_square", "χ²", ""},
                          {"degrees_of_freedom", "Degrees of freedom", ""},
                          {"probability", "Probability of a larger χ²", ""},
                          {"without_height", "Pairs without height", ""}}};
  for (const auto& [sample, found, law] : pairs)
    table.rows.push_back(Row{sample.name, law.a_v_s, law.b_s, law.b_squared_s2, law.chi_square,
                             law.degrees_of_freedom, law.probability, count(law.without_height)});
  return table;
}

Table sensors_table(std::span<const std::string> names, const SensorResolutions& found) {
  const Unfolding& core = found.by_core;
  const Unfolding& all = found.by_deviation;
  Table table{
      .key = "sensors",
      .title = "Resolution of each sensor",
      .note = fmt::format("From the widths of all pairs over the {} records in which all channels are "
                          "usable; holds when their errors are independent of each other.{}",
                          found.records,
                          core.degrees_of_freedom > 0
                              ? fmt::format(" One variance a sensor against all pairs (core widths): χ² = "
                                            "{:.3g} with {} degrees of freedom, probability {:.3g}.",
                                            core.chi_square, core.degrees_of_freedom, core.probability)
                              : ""),
      .columns = {{"channel", "Channel", ""},
                  {"resolution", "Resolution (Gaussian core)", "s"},
                  {"variance", "Its variance", "s^2"},
                  {"resolution_by_deviation", "Resolution (standard deviation)", "s"},
                  {"variance_by_deviation", "Its variance", "s^2"}}};
  for (std::size_t i = 0; i < names.size(); ++i)
    table.rows.push_back(
        Row{names[i], core.resolution[i], core.variance[i], all.resolution[i], all.variance[i]});
  return table;
}

Table shared_equally_table(const JitterStamps& stamps, const JudgedPair& pair) {
  const auto share = [](const Estimate& spread) {
    return Estimate{spread.value / std::sqrt(2.0), spread.uncertainty / std::sqrt(2.0),
                    spread.degrees_of_freedom};
  };
  Table table{.key = "sensors",
              .title = "Resolution of each sensor if both are equally good",
              .note =
                  "Two channels tell only their sum in quadrature: this is spread/√2, an assumption and "
                  "not a measurement. A third sensor would tell them apart.",
              .columns = {{"channel", "Channel", ""},
                          {"resolution", "Resolution (Gaussian core)", "s"},
                          {"resolution_by_deviation", "Resolution (standard deviation)", "s"}}};
  for (const std::size_t channel : {pair.sample.first, pair.sample.second})
    table.rows.push_back(
        Row{stamps.channels()[channel], share(pair.figures.core_width), share(pair.figures.deviation)});
  return table;
}

Table methods_table(std::span<const MethodOnPair> methods) {
  Table table{.key = "methods",
              .title = "The methods compared",
              .note =
                  "Each method on the pairs that it could time; a method that times fewer may look "
                  "better than it is.",
              .columns = {{"method", "Method", ""},
                          {"pair", "Pair", ""},
                          {"pairs_used", "Pairs used", ""},
                          {"mean", "Mean", "s"},
                          {"standard_deviation", "Standard deviation", "s"},
                          {"central_half_width", "Central half width", "s"},
                          {"core_width", "Gaussian core width", "s"},
                          {"bound", "Cramér-Rao bound", "s"},
                          {"half_width_over_bound", "Width over bound, pair by pair", ""},
                          {"pulls_within_1", "Pulls: share within 1", ""}}};
  for (const MethodOnPair& row : methods)
    table.rows.push_back(Row{row.method, row.pair, count(row.account.used), row.figures.mean,
                             row.figures.deviation, row.figures.half_width, row.figures.core_width,
                             row.figures.bound_s, row.figures.half_width_over_bound,
                             row.figures.pulls_within_1});
  return table;
}

Table counts_table(const JitterStamps& stamps, std::span<const JudgedPair> pairs) {
  Table table{.key = "counts",
              .title = "What became of the records",
              .note = fmt::format("A pair may carry several flags. Stamps not looked at: {} of later pulses "
                                  "in their trace, {} there twice (all methods and channels).",
                                  stamps.later_pulses(), stamps.repeated()),
              .columns = {{"pair", "Pair", ""}, {"what", "Records", ""}, {"count", "Number", ""}}};
  for (const auto& [sample, found, heights] : pairs) {
    const PairAccount& account = sample.account;
    const auto tell = [&, &name = sample.name](std::string what, std::uint64_t number) {
      table.rows.push_back(Row{name, std::move(what), count(number)});
    };
    tell("with a stamp of the first channel only", account.only_first);
    tell("with a stamp of the second channel only", account.only_second);
    tell("with both", account.in_both);
    tell("used", account.used);
    tell("left out: flagged", account.flagged);
    for (std::size_t i = 0; i < flag_table.size(); ++i) {
      if (account.by_flag.at(i) > 0)
        tell(fmt::format("  of these {}", flag_table.at(i).name), account.by_flag.at(i));
    }
    tell("left out: no time", account.no_time);
    tell("left out: height outside the range", account.height);
  }
  return table;
}

}  // namespace firstedge
