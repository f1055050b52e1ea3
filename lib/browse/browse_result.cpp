#include "firstedge/browse/browse_result.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_plotted_channels = 32;

Estimate whole(std::uint64_t number) {
  return {.value = static_cast<double>(number)};
}

// A share in % with its binomial standard uncertainty sqrt(p (1 - p) / n) (common practice, no source).
Estimate share_of(std::uint64_t part, std::uint64_t all) {
  const auto n = static_cast<double>(all);
  const double share = static_cast<double>(part) / n;
  return {.value = 100 * share, .uncertainty = 100 * std::sqrt(share * (1 - share) / n)};
}

// Where the traces of pulses stand in the browser.
class Places {
 public:
  explicit Places(const std::vector<BrowsedTrace>& traces) {
    for (std::size_t at = 0; at < traces.size(); ++at)
      places_[{traces[at].record, traces[at].channel, traces[at].pulse}] = at;
  }
  /// In the order of the list; what has no trace is left out.
  std::vector<std::size_t> of(const Shortlist& list) const {
    std::vector<std::size_t> places;
    const auto add = [&](const PulseName& name) {
      if (const auto found = places_.find(name); found != places_.end()) places.push_back(found->second);
    };
    for (const Listed& entry : list.entries()) {
      add(entry.first);
      if (entry.second) add(*entry.second);
    }
    return places;
  }

 private:
  std::map<PulseName, std::size_t> places_;
};

std::string pair_words(const TraceBrowser& browser, const Survey& survey) {
  return fmt::format("{} less {}", browser.channels[survey.pair->at(0)],
                     browser.channels[survey.pair->at(1)]);
}

void add_group(TraceBrowser& browser, const Places& places, const Shortlist& list, const std::string& label,
               const std::string& rule, bool by_lot) {
  TraceGroup group{.label = label, .rule = rule, .pulses = list.offered(), .traces = places.of(list)};
  if (group.traces.empty()) return;
  if (by_lot) std::sort(group.traces.begin(), group.traces.end());
  browser.groups.push_back(std::move(group));
}

std::string rule_words(const SurveyOptions& options, std::size_t chosen) {
  return fmt::format(
      "Of each channel: {} pulses of every flag, {} without a flag and {} of every bin by lot, the {} at "
      "each "
      "extreme; of pairs as many of every bin and extreme. They are taken by turns, {} in all, and are the "
      "same "
      "whenever this page is made.",
      options.of_each_flag, options.of_each_flag, options.of_each_bin, options.of_each_extreme, chosen);
}

void add_groups(TraceBrowser& browser, const Survey& survey, const Places& places, const std::string& rule) {
  TraceGroup all{.label = "every trace on this page", .rule = rule};
  for (const ChannelSurvey& channel : survey.channels) all.pulses += channel.pulses;
  all.traces.resize(browser.traces.size());
  std::iota(all.traces.begin(), all.traces.end(), std::size_t{0});
  browser.groups.push_back(std::move(all));
  for (std::size_t c = 0; c < survey.channels.size(); ++c) {
    const std::string& name = browser.channels[c];
    for (std::size_t f = 0; f < flag_table.size(); ++f) {
      add_group(browser, places, survey.channels[c].flags[f],
                fmt::format("{}: {}", name, flag_table.at(f).name),
                fmt::format("Flagged since {}; chosen by lot.", flag_table.at(f).sentence), true);
    }
    for (std::size_t e = 0; e < extreme_names.size(); ++e) {
      add_group(browser, places, survey.channels[c].extremes[e],
                fmt::format("{}: {}", name, extreme_names.at(e)), "The furthest out first.", false);
    }
    add_group(browser, places, survey.channels[c].good[0], fmt::format("{}: without a flag", name),
              "Chosen by lot.", true);
  }
  for (std::size_t e = 0; survey.pair && e < furthest_names.size(); ++e) {
    add_group(browser, places, survey.furthest[e],
              fmt::format("{}: {}", pair_words(browser, survey), furthest_names.at(e)),
              "Both pulses of a pair, the furthest out first.", false);
  }
}

std::string outside_words(const BinnedPulses& binned, const char* what) {
  if (binned.outside == 0) return "";
  const bool one = binned.outside == 1;
  return fmt::format(" Outside the bins: {} {}{}; those furthest out are in the lists above.", binned.outside,
                     what, one ? "" : "s");
}

// The bins as a series, and the traces behind each of them.
Series bins_of(TraceBrowser& browser, const BinnedPulses& binned, const Places& places,
               const std::string& plot_key, const std::string& label) {
  Series bars{.label = label, .kind = Series::Kind::bars};
  PointTraces behind{.plot_key = plot_key};
  for (std::size_t at = 0; at < binned.counts.size(); ++at) {
    const auto count = static_cast<double>(binned.counts[at]);
    bars.x.push_back(0.5 * (binned.edges[at] + binned.edges[at + 1]));
    bars.y.push_back(count);
    bars.y_uncertainty.push_back(std::sqrt(count));
    behind.of_point.push_back(places.of(binned.lists[at]));
  }
  browser.points.push_back(std::move(behind));
  return bars;
}

void add_difference_plot(TraceBrowser& browser, const Survey& survey, const Places& places) {
  if (!survey.pair || survey.pairs == 0) return;
  const std::string words = pair_words(browser, survey);
  Plot plot{
      .key = "differences",
      .title = fmt::format("Time difference, {}", words),
      .caption = fmt::format("First pulses of a record, flagged ones too. Look for bins beside the core, "
                             "and pick one: both traces of its pairs come into the window above.{}",
                             outside_words(survey.differences, "pair")),
      .x = {.label = "Time difference", .unit = "s"},
      .y = {.label = "Pairs a bin", .unit = ""}};
  plot.series.push_back(bins_of(browser, survey.differences, places, plot.key, words));
  browser.result.plots.push_back(std::move(plot));
}

void add_height_plot(TraceBrowser& browser, const ChannelSurvey& channel, const Places& places,
                     std::size_t number) {
  if (channel.heights.counts.empty()) return;
  const std::string& name = browser.channels[number];
  Plot plot{
      .key = fmt::format("heights_{}", number + 1),
      .title = fmt::format("Pulse height, {}", name),
      .caption = fmt::format("Look at the lowest bins for noise taken for pulses and at the highest for "
                             "clipped ones; pick a bin to see traces of it.{}",
                             outside_words(channel.heights, "pulse")),
      .x = {.label = "Pulse height", .unit = "V"},
      .y = {.label = "Pulses a bin", .unit = ""}};
  plot.series.push_back(bins_of(browser, channel.heights, places, plot.key, name));
  browser.result.plots.push_back(std::move(plot));
}

void add_time_plot(TraceBrowser& browser, std::size_t number) {
  const std::string& name = browser.channels[number];
  Plot plot{.key = fmt::format("times_{}", number + 1),
            .title = fmt::format("Time against height, {}", name),
            .caption =
                "The pulses whose traces are on this page, with the standard uncertainties of their times. "
                "Look for points beside the band, and for a band that bends with height; pick a point to "
                "see its trace.",
            .x = {.label = "Pulse height", .unit = "V", .logarithmic = true},
            .y = {.label = "Time from the trigger", .unit = "s"}};
  const std::array<const char*, 2> labels{"without a flag", "flagged"};
  for (const bool flagged : {false, true}) {
    Series points{.label = labels.at(flagged ? 1 : 0), .kind = Series::Kind::points};
    PointTraces behind{.plot_key = plot.key, .series = plot.series.size()};
    for (std::size_t at = 0; at < browser.traces.size(); ++at) {
      if (browser.traces[at].channel != number) continue;
      for (const Stamp& stamp : browser.traces[at].stamps) {
        const bool shown = stamp.method == browser.method && std::isfinite(stamp.time_s) &&
                           stamp.height_v > 0 && stamp.flags.empty() != flagged;
        if (!shown) continue;
        points.x.push_back(stamp.height_v);
        points.y.push_back(stamp.time_s);
        points.y_uncertainty.push_back(stamp.uncertainty_s);
        behind.of_point.push_back({at});
      }
    }
    if (points.x.empty()) continue;
    plot.series.push_back(std::move(points));
    browser.points.push_back(std::move(behind));
  }
  if (!plot.series.empty()) browser.result.plots.push_back(std::move(plot));
}

Table flags_table(const TraceBrowser& browser, const Survey& survey, const Places& places) {
  Table table{.key = "flags",
              .title = "What is flagged",
              .note =
                  "A pulse may carry more than one flag. Shares are of all pulses of the channel by this "
                  "method, with their binomial standard uncertainties.",
              .columns = {{"channel", "Channel", ""},
                          {"flag", "Flag", ""},
                          {"pulses", "Pulses", ""},
                          {"share", "Share", "%"},
                          {"traces", "Traces here", ""},
                          {"meaning", "What it says", ""}},
              .rows = {}};
  for (std::size_t c = 0; c < survey.channels.size(); ++c) {
    const ChannelSurvey& channel = survey.channels[c];
    for (std::size_t f = 0; f < flag_table.size(); ++f) {
      const Shortlist& list = channel.flags[f];
      if (list.offered() == 0) continue;
      table.rows.push_back({browser.channels[c], std::string(flag_table.at(f).name),
                            static_cast<double>(list.offered()), share_of(list.offered(), channel.pulses),
                            static_cast<double>(places.of(list).size()),
                            std::string(flag_table.at(f).sentence)});
    }
  }
  return table;
}

std::string answer_of(std::uint64_t pulses, std::uint64_t flagged, const TraceBrowser& browser) {
  const std::string& method = browser.methods[browser.method];
  if (flagged == 0) {
    // Of n without a case, at most -ln(0.05) / n = 3 / n at 95 % confidence (the rule of three, from memory).
    return fmt::format(
        "None of {} pulses timed by {} carries a flag, so at most {:.2g} % would (95 % confidence); the "
        "traces "
        "of {} are here to be looked at.",
        pulses, method, 300.0 / static_cast<double>(pulses), browser.traces.size());
  }
  return fmt::format("{} of {} pulses timed by {} carry a flag; the traces of {} are here to be looked at.",
                     format_estimate(share_of(flagged, pulses), "%"), pulses, method, browser.traces.size());
}

}  // namespace

void show_survey(TraceBrowser& browser, const Survey& survey, const SurveyOptions& options,
                 std::size_t chosen) {
  const Places places(browser.traces);
  Result& result = browser.result;
  std::uint64_t pulses = 0, flagged = 0;
  for (const ChannelSurvey& channel : survey.channels) {
    pulses += channel.pulses;
    flagged += channel.flagged;
  }
  result.kind = "traces";
  result.title = "The traces behind the times";
  result.answer = answer_of(pulses, flagged, browser);
  result.figures = {{"pulses", "Pulses in the table", whole(pulses), ""},
                    {"flagged", "Carry a flag", share_of(flagged, pulses), "%"},
                    {"traces", "Traces on this page", whole(browser.traces.size()), ""}};
  add_groups(browser, survey, places, rule_words(options, chosen));
  add_difference_plot(browser, survey, places);
  const std::size_t plotted = std::min(survey.channels.size(), most_plotted_channels);
  for (std::size_t c = 0; c < plotted; ++c) {
    add_height_plot(browser, survey.channels[c], places, c);
    add_time_plot(browser, c);
  }
  result.tables = {flags_table(browser, survey, places)};
  if (plotted < survey.channels.size()) {
    result.warnings.push_back(
        fmt::format("Plots are drawn for the first {} of {} channels; lists and table hold all.", plotted,
                    survey.channels.size()));
  }
  if (browser.traces.size() < chosen) {
    result.warnings.push_back(
        fmt::format("{} of {} chosen pulses are in records that these files do not have.",
                    chosen - browser.traces.size(), chosen));
  }
  result.cautions = {
      "The traces are a choice and not the run: shares stand in the table, they cannot be counted "
      "here.",
      "The fit drawn is the channel's template at the fitted times and heights. Where the method "
      "fits a family of shapes it is the mean shape, and the residual holds what the family took up.",
      "Volts are rounded to a 65,534th part of what a trace spans."};
}

}  // namespace firstedge
