// The summary of a stamping run as a Result.
#include "firstedge/batch/run.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/timing/time_bound.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

Table stamps_table(const RunSummary& summary) {
  Table table{
      .key = "stamps",
      .title = "Stamps and what speaks against them",
      .note =
          "Typical uncertainty: the median standard uncertainty of those that were timed. A stamp may carry "
          "several flags. Flagged stamps are in the table too: choose by the flags column.",
      .columns = {{"channel_method", "Channel, method", ""},
                  {"uncertainty", "Typical uncertainty", "s"},
                  {"stamps", "Stamps", ""},
                  {"unflagged", "Unflagged", ""}},
      .rows = {}};
  std::array<bool, flag_table.size()> met{};
  for (const auto& of_channel : summary.cells) {
    for (const RunSummary::Cell& cell : of_channel) {
      for (std::size_t f = 0; f < flag_table.size(); ++f) met[f] = met[f] || cell.flagged[f] > 0;
    }
  }
  for (std::size_t f = 0; f < flag_table.size(); ++f) {
    if (met[f])
      table.columns.push_back({std::string(flag_table[f].name), std::string(flag_table[f].name), ""});
  }
  for (std::size_t c = 0; c < summary.cells.size(); ++c) {
    for (std::size_t m = 0; m < summary.cells[c].size(); ++m) {
      const RunSummary::Cell& cell = summary.cells[c][m];
      std::vector<Table::Cell> row{fmt::format("{}, {}", summary.channels[c].name, summary.methods[m].name),
                                   cell.uncertainty_s.value(), static_cast<double>(cell.stamps),
                                   static_cast<double>(cell.unflagged)};
      for (std::size_t f = 0; f < flag_table.size(); ++f) {
        if (met[f]) row.emplace_back(static_cast<double>(cell.flagged[f]));
      }
      table.rows.push_back(std::move(row));
    }
  }
  return table;
}

Table methods_table(const RunSummary& summary) {
  Table table{.key = "methods",
              .title = "Methods and their settings",
              .note = "",
              .columns = {{"method", "Method", ""}, {"settings", "Settings", ""}},
              .rows = {}};
  for (const StampTableHead::Method& method : summary.methods)
    table.rows.push_back({method.name, method.settings});
  return table;
}

Table learnt_table(const RunSummary& summary) {
  Table table{
      .key = "learnt",
      .title = "What was learnt from the first records",
      .note =
          "The bound is the Cramér-Rao bound of the template at ten times the noise; it falls as 1/height.",
      .columns = {{"channel", "Channel", ""},
                  {"sensor", "Sensor", ""},
                  {"interval", "Interval", "s"},
                  {"noise", "Noise", "V"},
                  {"records", "Records", ""},
                  {"template", "Template", ""},
                  {"bound", "Bound at 10 × noise", "s"}},
      .rows = {}};
  for (const LearntChannel& channel : summary.channels) {
    const double noise_v = channel.noise.rms_v();
    const double bound_s = channel.pulse_template
                               ? time_bound_s(*channel.pulse_template, 10 * noise_v, channel.noise)
                               : std::nan("");
    table.rows.push_back({channel.name, channel.sensor, channel.interval_s, noise_v,
                          static_cast<double>(channel.records_learnt_from), channel.template_remark,
                          bound_s});
  }
  return table;
}

Table corrections_table(const RunSummary& summary) {
  Table table{
      .key = "corrections",
      .title = "Walk corrections and shape families",
      .note =
          "The scatter is that of the pulses around the walk curve, over what their uncertainties say; "
          "well over 1, their shapes differ.",
      .columns = {{"channel", "Channel", ""},
                  {"what", "Correction", ""},
                  {"learnt", "Learnt", ""},
                  {"walk", "Walk over the pulses learnt from", "s"},
                  {"scatter", "Scatter", ""}},
      .rows = {}};
  for (const LearntChannel& channel : summary.channels) {
    for (std::size_t m = 0; m < channel.walks.size(); ++m) {
      if (channel.walk_remarks[m].empty()) continue;
      const WalkCorrection* walk = channel.walks[m].get();
      const double whole_s = walk != nullptr ? walk->walk.value.front() - walk->walk.value.back() : not_known;
      table.rows.push_back({channel.name, fmt::format("walk by {}", channel.timing[m].text("walk", "")),
                            channel.walk_remarks[m], whole_s,
                            walk != nullptr ? walk->walk.scatter : not_known});
    }
    if (channel.family)
      table.rows.push_back({channel.name, std::string("shape family"),
                            fmt::format("{} components", channel.family->components.size()), not_known,
                            not_known});
  }
  return table;
}

Plot templates_plot(const RunSummary& summary) {
  Plot plot{.key = "templates",
            .title = "Mean pulse shapes",
            .caption =
                "Each channel's template, peak 1, time zero where the leading edge crosses half of its "
                "height. Look "
                "for a clean baseline before the edge, and for ringing or a second pulse after it.",
            .x = {"Time from the reference instant", "s"},
            .y = {"Share of the peak", ""},
            .series = {},
            .markers = {}};
  for (const LearntChannel& channel : summary.channels) {
    if (!channel.pulse_template) continue;
    const PulseTemplate& shape = *channel.pulse_template;
    Series series{
        .label = channel.name, .kind = Series::Kind::line, .x = {}, .y = shape.shape, .y_uncertainty = {}};
    for (std::size_t i = 0; i < shape.shape.size(); ++i) {
      series.x.push_back(shape.first_s + static_cast<double>(i) * shape.interval_s);
    }
    plot.series.push_back(std::move(series));
  }
  return plot;
}

// A pulse is timed where one method could time it; a channel's methods look at the same pulses.
std::uint64_t pulses_timed(const RunSummary& summary) {
  std::uint64_t pulses = 0;
  for (const auto& of_channel : summary.cells) {
    std::uint64_t most = 0;
    for (const RunSummary::Cell& cell : of_channel) most = std::max(most, cell.uncertainty_s.count());
    pulses += most;
  }
  return pulses;
}

// A channel's typical uncertainty by a method: "8.3 ps (near by template_fit)".
struct Typical {
  double uncertainty_s = not_known;
  std::string words;
};

std::vector<Typical> typical_uncertainties(const RunSummary& summary) {
  std::vector<Typical> found;
  for (std::size_t c = 0; c < summary.cells.size(); ++c) {
    for (std::size_t m = 0; m < summary.cells[c].size(); ++m) {
      const RunningMedian& median = summary.cells[c][m].uncertainty_s;
      constexpr int digits = 3;  // the median is known to 0.4 %
      if (median.count() > 0)
        found.push_back(
            {median.value(), fmt::format("{} ({} by {})", format_quantity(median.value(), "s", digits),
                                         summary.channels[c].name, summary.methods[m].name)});
    }
  }
  return found;
}

std::string counted(std::uint64_t number, std::string_view thing) {
  return fmt::format("{} {}{}", number, thing, number == 1 ? "" : "s");
}

std::string answer_of(const RunSummary& summary) {
  const std::string where = fmt::format("in {} of {}", counted(summary.records, "record"),
                                        counted(summary.channels.size(), "channel"));
  const std::vector<Typical> typical = typical_uncertainties(summary);
  if (typical.empty()) return fmt::format("No pulse timed {}.", where);
  const auto [best, worst] = std::minmax_element(
      typical.begin(), typical.end(),
      [](const Typical& a, const Typical& b) { return a.uncertainty_s < b.uncertainty_s; });
  const std::string range = best->uncertainty_s == worst->uncertainty_s
                                ? "of " + best->words
                                : fmt::format("from {} to {}", best->words, worst->words);
  return fmt::format("{} timed {}, with a typical standard uncertainty {}.",
                     counted(pulses_timed(summary), "pulse"), where, range);
}

}  // namespace

Result summary_of(const RunSummary& summary, const Provenance& provenance) {
  Result result{.kind = "stamping",
                .title = "Stamps of a run",
                .answer = answer_of(summary),
                .figures = {},
                .tables = {},
                .plots = {},
                .warnings = {},
                .cautions = {},
                .provenance = provenance};
  const auto whole = [](std::uint64_t number) { return Estimate{.value = static_cast<double>(number)}; };
  result.figures = {{"records", "Records stamped", whole(summary.records), ""},
                    {"records_bad", "Records left out as damaged", whole(summary.account.records_bad), ""},
                    {"traces_missing", "Traces missing", whole(summary.account.traces_missing), ""},
                    {"stamps", "Stamps", whole(summary.stamps), ""}};
  result.tables = {stamps_table(summary), methods_table(summary), learnt_table(summary)};
  if (Table corrections = corrections_table(summary); !corrections.rows.empty())
    result.tables.push_back(std::move(corrections));
  if (const Plot plot = templates_plot(summary); !plot.series.empty()) result.plots.push_back(plot);
  for (const std::string& guess : summary.description.guesses) result.warnings.push_back("guessed: " + guess);
  for (const Error& problem : summary.account.problems) result.warnings.emplace_back(problem.what());
  for (const std::string& remark : summary.account.remarks) result.warnings.push_back(remark);
  result.cautions = {
      "Times are from the trigger of each record; cable and amplifier delays are still in them.",
      "Stamps are not for interlocks or dosimetry."};
  return result;
}

}  // namespace firstedge
