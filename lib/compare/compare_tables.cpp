// The tables and plots of a comparison of methods.
#include "firstedge/compare/compare_parts.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

const std::string& channel_of(const Comparison& c, bool first) {
  return c.stamps.channels()[first ? c.ground.first : c.ground.second];
}

// "fraction=0.3; cut 400 MHz", as it stands on this channel.
const std::string& settings_of(const Comparison& c, std::size_t candidate, bool first) {
  return c.stamps.candidates()[candidate].settings[first ? c.ground.first : c.ground.second];
}

std::string with_method(const Comparison& c, std::size_t candidate, bool first) {
  const std::string& settings = settings_of(c, candidate, first);
  return c.stamps.candidates()[candidate].method + (settings.empty() ? "" : " " + settings);
}

std::string verdict(const SpreadComparison& pair) {
  if (pair.first_is_better()) return "beats it";
  if (pair.second_is_better()) return "is beaten";
  return "not told apart";
}

std::string scan_name(const NamedScan& scan) {
  return fmt::format("{}: {}", scan.kind, label_of(scan.axis));
}

}  // namespace

Table methods_table(const Comparison& c) {
  Table table{
      .key = "methods",
      .title = fmt::format("The methods on {} − {}", channel_of(c, true), channel_of(c, false)),
      .note = fmt::format(
          "The first row is recommended. Settings chosen on {} records and judged on {} others, the same "
          "for all methods. Spread: "
          "central half width (half of the range that holds 68.3 %).",
          c.ground.choosing.size(), c.ground.judging.size()),
      .columns = {{"method", "Method", ""},
                  {"of_first", "On " + channel_of(c, true), ""},
                  {"of_second", "On " + channel_of(c, false), ""},
                  {"spread", "Spread, judged", "s"},
                  {"standard_deviation", "Standard deviation, judged", "s"},
                  {"chosen", "Spread where chosen", "s"},
                  {"over_bound", "Spread over bound", ""}}};
  for (std::size_t i = 0; i < c.contenders.size(); ++i) {
    const Contender& each = c.contenders[i];
    const Estimate& width = c.judged.half_width[i];
    table.rows.push_back(Row{each.name, with_method(c, each.of_first, true),
                             with_method(c, each.of_second, false), width, c.judged.deviation[i],
                             each.chosen_s,
                             Estimate{width.value / c.bound_s, width.uncertainty / c.bound_s}});
  }
  return table;
}

Table differences_table(const Comparison& c, double level) {
  Table table{.key = "differences",
              .title = "Which method beats which",
              .note = fmt::format(
                  "Ratio of the spreads on the same records, with the interval that a paired bootstrap "
                  "gives for all rows together: the chance that any row tells a difference among equals is "
                  "{:g} %. 'Not told apart' is not 'equal': the interval says by how much they may "
                  "differ.",
                  100 * level),
              .columns = {{"first", "Method", ""},
                          {"second", "against", ""},
                          {"verdict", "Verdict", ""},
                          {"ratio", "Ratio of spreads", ""},
                          {"low", "from", ""},
                          {"high", "to", ""},
                          {"chance", "Chance among equals", ""}}};
  for (const SpreadComparison& pair : c.judged.comparisons)
    table.rows.push_back(Row{c.contenders[pair.first].name, c.contenders[pair.second].name, verdict(pair),
                             pair.ratio, pair.interval.low, pair.interval.high, pair.chance});
  return table;
}

Table scans_table(const Comparison& c, double near_best) {
  Table table{.key = "scans",
              .title = "What each setting matters",
              .note = fmt::format(
                  "One setting of one channel varied, the other channel as in the best choice, on all "
                  "{} common records. Flat: the range within {:g} % of the least spread. An optimum "
                  "at an end of the scan may lie beyond it.",
                  c.ground.choosing.size() + c.ground.judging.size(), 100 * near_best),
              .columns = {{"channel", "Channel", ""},
                          {"scan", "Setting", ""},
                          {"optimum", "Optimum", ""},
                          {"flat_from", "Flat from", ""},
                          {"flat_to", "to", ""},
                          {"spread", "Least spread", "s"},
                          {"worst", "Greatest spread", "s"},
                          {"remark", "Remark", ""}}};
  for (const NamedScan& each : c.scans) {
    const Scan& scan = each.scan;
    const auto worst = std::max_element(scan.spread_s.begin(), scan.spread_s.end(),
                                        [](const auto& a, const auto& b) { return a.value < b.value; });
    const bool no_filter_better =
        each.without_filter_s && *each.without_filter_s <= scan.spread_s[scan.best].value;
    table.rows.push_back(Row{c.stamps.channels()[each.channel], scan_name(each), scan.optimum, scan.flat_from,
                             scan.flat_to, scan.spread_s[scan.best], worst->value,
                             std::string(no_filter_better ? "no filter is as good or better"
                                         : scan.at_end    ? "at the end of the scan"
                                                          : "")});
  }
  return table;
}

Table candidates_table(const Comparison& c) {
  Table table{
      .key = "candidates",
      .title = "Every candidate, the same settings on both channels",
      .note =
          "Usable: stamps with a time and without a flag. A candidate that can use too few of the pulses "
          "of a channel does not take part there and has no spread.",
      .columns = {{"candidate", "Candidate", ""},
                  {"usable_first", "Usable, " + channel_of(c, true), ""},
                  {"usable_second", "Usable, " + channel_of(c, false), ""},
                  {"spread", "Spread, judged", "s"}}};
  const auto takes_part = [](const std::vector<std::size_t>& list, std::size_t i) {
    return std::find(list.begin(), list.end(), i) != list.end();
  };
  for (std::size_t i = 0; i < c.stamps.candidates().size(); ++i) {
    double width = nan;
    if (takes_part(c.ground.of_first, i) && takes_part(c.ground.of_second, i) && !c.ground.judging.empty())
      width = RankedColumn(differences(c.stamps, c.ground, c.ground.judging, i, i)).half_width();
    table.rows.push_back(Row{name_of(c.stamps.candidates()[i]),
                             static_cast<double>(c.stamps.column(c.ground.first, i).usable),
                             static_cast<double>(c.stamps.column(c.ground.second, i).usable), width});
  }
  return table;
}

Table counts_table(const Comparison& c) {
  Table table{.key = "counts",
              .title = "What became of the records",
              .note = "Flags of the candidate in the best choice; a stamp may carry several.",
              .columns = {{"of", "Of", ""}, {"what", "Records", ""}, {"count", "Number", ""}}};
  const auto tell = [&](const std::string& of, std::string what, std::size_t number) {
    table.rows.push_back(Row{of, std::move(what), static_cast<double>(number)});
  };
  const std::string pair = fmt::format("{} − {}", channel_of(c, true), channel_of(c, false));
  tell(pair, "read", c.stamps.records().size());
  tell(pair, "usable in both channels by some candidate", c.ground.with_both);
  tell(pair, "usable by all that take part: for choosing", c.ground.choosing.size());
  tell(pair, "usable by all that take part: for judging", c.ground.judging.size());
  if (c.contenders.empty()) return table;
  for (const bool first : {true, false}) {
    const Contender& best = c.contenders.front();
    const CandidateColumn& column =
        c.stamps.column(first ? c.ground.first : c.ground.second, first ? best.of_first : best.of_second);
    const std::string& of = channel_of(c, first);
    tell(of, "usable", column.usable);
    tell(of, "left out: flagged", column.flagged);
    for (std::size_t i = 0; i < flag_table.size(); ++i) {
      if (column.by_flag.at(i) > 0)
        tell(of, fmt::format("  of these {}", flag_table.at(i).name), column.by_flag.at(i));
    }
    tell(of, "left out: no time", column.no_time);
    tell(of, "without a pulse", c.stamps.records().size() - column.usable - column.flagged - column.no_time);
  }
  return table;
}

Plot methods_plot(const Comparison& c) {
  Plot plot{
      .key = "methods",
      .title = "Spread of each method",
      .caption =
          "Look for: points whose bars stay clear of the leftmost one's. Bars are of one method alone; the "
          "table of differences, record by record, tells methods apart whose bars overlap.",
      .x = {"Method, in the order of the table", ""},
      .y = {"Spread on the judging half", "s"}};
  for (std::size_t i = 0; i < c.contenders.size(); ++i)
    plot.series.push_back({.label = c.contenders[i].name,
                           .kind = Series::Kind::points,
                           .x = {static_cast<double>(i + 1)},
                           .y = {c.judged.half_width[i].value},
                           .y_uncertainty = {c.judged.half_width[i].uncertainty}});
  if (c.bound_s > 0) plot.markers.push_back({c.bound_s, false, "Cramér-Rao bound of the noise"});
  return plot;
}

std::vector<Plot> scan_plots(const Comparison& c, double near_best) {
  std::vector<Plot> plots;
  for (const NamedScan& each : c.scans) {
    std::string key = fmt::format("scan_{}_{}", static_cast<int>(each.axis), each.kind);
    std::replace_if(
        key.begin(), key.end(), [](char letter) { return letter == ' ' || letter == ','; }, '_');
    auto plot = std::find_if(plots.begin(), plots.end(), [&](const Plot& made) { return made.key == key; });
    if (plot == plots.end()) {
      plots.push_back(
          {.key = key,
           .title = "Scan of " + scan_name(each),
           .caption = fmt::format("Look for: how wide the bottom is. Within {:g} % of the least any "
                                  "setting will do; a steep side is to be kept away from.",
                                  100 * near_best),
           .x = {std::string(label_of(each.axis)), "", each.axis == ScanAxis::cut},
           .y = {"Spread of the pair", "s"}});
      plot = plots.end() - 1;
    }
    const std::string& channel = c.stamps.channels()[each.channel];
    Series curve{.label = channel + " varied", .kind = Series::Kind::points, .x = each.scan.setting};
    for (const Estimate& spread : each.scan.spread_s) {
      curve.y.push_back(spread.value);
      curve.y_uncertainty.push_back(spread.uncertainty);
    }
    plot->series.push_back(std::move(curve));
    if (each.without_filter_s)
      plot->markers.push_back({*each.without_filter_s, false, channel + " without filter"});
  }
  return plots;
}

}  // namespace firstedge
