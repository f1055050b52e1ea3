// The delay through a line as a Result.
#include "firstedge/delay/stated.hpp"
#include "firstedge/delay/through.hpp"
#include "firstedge/signal/skin_line.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double shown_loss_hz = 100e6;

Estimate half_time(const Estimate& loss_constant) {
  const double half_s = SkinLine{0, loss_constant.value}.half_time_s();
  return {half_s, std::abs(2 * half_s / loss_constant.value) * loss_constant.uncertainty,
          loss_constant.degrees_of_freedom};
}

Estimate loss_db(const Estimate& loss_constant) {
  return {SkinLine{0, loss_constant.value}.attenuation_db(shown_loss_hz),
          SkinLine{0, loss_constant.uncertainty}.attenuation_db(shown_loss_hz),
          loss_constant.degrees_of_freedom};
}

std::string what_it_looks_at(const std::string& way) {
  if (way == correlation_way) return "overlap of the whole pulse";
  if (way.starts_with("leading_edge")) return "a fixed level of the edge";
  if (way.starts_with("template")) return "the channel's own mean shape";
  return "a share of the height";
}

Table ways_table(const ThroughDelay& delay) {
  Table table{
      .key = "ways",
      .title = "What each way of timing reads",
      .note =
          "Correction: what the way reads beyond the bulk delay, for this pulse behind the fitted line. A "
          "lossy line holds low frequencies back more than high ones and rounds the edge, so every way "
          "that looks at another part of the pulse reads another delay: take the one that times the "
          "pulses later.",
      .columns = {{"way", "Way", ""},
                  {"read", "Delay it reads", "s"},
                  {"correction", "Correction", "s"},
                  {"corrected", "Bulk delay by it", "s"},
                  {"records", "Records", ""},
                  {"looks_at", "What it looks at", ""}},
      .rows = {}};
  for (const WayOfReading& way : delay.ways)
    table.rows.push_back({way.name, way.read_s, way.correction_s, way.corrected_s,
                          static_cast<double>(way.used), what_it_looks_at(way.name)});
  table.rows.push_back({std::string("fitted line"), delay.bulk_delay_s, 0.0, delay.bulk_delay_s,
                        static_cast<double>(delay.means.before.records),
                        std::string("arrival of the front")});
  return table;
}

SkinLine line_of(const ThroughDelay& delay) {
  return {delay.bulk_delay_s.value, delay.loss_constant.value};
}

double line_attenuation_db(const ThroughDelay& delay, double frequency_hz) {
  return line_of(delay).attenuation_db(frequency_hz) - 20 * std::log10(std::abs(delay.gain.value));
}

Table bands_table(const ThroughDelay& delay) {
  Table table{.key = "bands",
              .title = "Group delay and attenuation",
              .note =
                  "Measured transfer function in thirds of an octave, beside the fitted line. The low "
                  "bands carry what the end of the record cuts off in their uncertainty.",
              .columns = {{"frequency", "Frequency", "Hz"},
                          {"group_delay", "Group delay", "s"},
                          {"line_group_delay", "of the line", "s"},
                          {"attenuation", "Attenuation", "dB"},
                          {"line_attenuation", "of the line", "dB"},
                          {"coherence", "Coherence", ""}},
              .rows = {}};
  for (const TransferBand& band : delay.bands)
    table.rows.push_back({band.frequency_hz, band.group_delay_s,
                          line_of(delay).group_delay_s(band.frequency_hz), band.attenuation_db,
                          line_attenuation_db(delay, band.frequency_hz), band.coherence});
  return table;
}

// From shortly before the pulse to a good while after it, by where it stands over a fiftieth of its peak.
struct Stretch {
  double from_s = 0, to_s = 0;
};

Stretch stretch_around(const MeanTrace& mean) {
  constexpr double share = 0.02;
  double peak = 0;
  for (const double volts : mean.volts) peak = std::max(peak, std::abs(volts));
  const auto stands_out = [&](double volts) { return std::abs(volts) > share * peak; };
  const auto first = std::find_if(mean.volts.begin(), mean.volts.end(), stands_out);
  const auto last = std::find_if(mean.volts.rbegin(), mean.volts.rend(), stands_out);
  const double start_s = mean.time_s(static_cast<double>(first - mean.volts.begin()));
  const double end_s = mean.time_s(static_cast<double>(mean.volts.rend() - last));
  const double length_s = end_s - start_s;
  return {start_s - 0.4 * length_s, end_s + length_s};
}

Series trace_series(const std::string& label, const MeanTrace& mean, const std::vector<double>& volts,
                    double earlier_s, Stretch shown) {
  Series series{.label = label, .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  for (std::size_t i = 0; i < volts.size(); ++i) {
    const double time_s = mean.time_s(static_cast<double>(i)) - earlier_s;
    if (time_s < shown.from_s || time_s > shown.to_s) continue;
    series.x.push_back(time_s);
    series.y.push_back(volts[i]);
  }
  return series;
}

Plot pulses_plot(const ThroughDelay& delay) {
  const double bulk_s = delay.bulk_delay_s.value;
  const Stretch shown = stretch_around(delay.means.before);
  return {.key = "pulses",
          .title = "The pulse before and after",
          .caption =
              "Means over all records, the pulse after moved earlier by the bulk delay. Look for an edge "
              "that is rounded and a tail that creeps: the mark of the loss.",
          .x = {"Time", "s"},
          .y = {"Voltage", "V"},
          .series = {trace_series("before", delay.means.before, delay.means.before.volts, 0, shown),
                     trace_series("after", delay.means.after, delay.means.after.volts, bulk_s, shown),
                     trace_series("fitted line", delay.means.after, delay.fit.model_v, bulk_s, shown)},
          .markers = {}};
}

Plot band_plot(const ThroughDelay& delay, const Estimate TransferBand::*figure, Plot plot,
               const std::function<double(double)>& of_line) {
  Series measured{.label = "measured", .kind = Series::Kind::points, .x = {}, .y = {}, .y_uncertainty = {}};
  Series line{.label = "fitted line", .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  for (const TransferBand& band : delay.bands) {
    const Estimate& estimate = band.*figure;
    measured.x.push_back(band.frequency_hz);
    measured.y.push_back(estimate.value);
    measured.y_uncertainty.push_back(estimate.uncertainty);
    line.x.push_back(band.frequency_hz);
    line.y.push_back(of_line(band.frequency_hz));
  }
  if (!measured.x.empty()) plot.series = {std::move(measured), std::move(line)};
  return plot;
}

std::vector<Plot> plots_of(const ThroughDelay& delay) {
  std::vector<Plot> plots{pulses_plot(delay)};
  if (delay.bands.empty()) return plots;
  plots.push_back(band_plot(delay, &TransferBand::group_delay_s,
                            {.key = "group_delay",
                             .title = "Group delay",
                             .caption = "Measured, and that of the fitted line, which falls towards the bulk "
                                        "delay as frequency rises. Look for points that leave it by more "
                                        "than two bars: an echo, a filter, or a band without signal.",
                             .x = {"Frequency", "Hz", true},
                             .y = {"Group delay", "s"},
                             .series = {},
                             .markers = {{delay.bulk_delay_s.value, false, "bulk delay"}}},
                            [&](double hz) { return line_of(delay).group_delay_s(hz); }));
  plots.push_back(band_plot(
      delay, &TransferBand::attenuation_db,
      {.key = "attenuation",
       .title = "Attenuation",
       .caption = "Measured, and that of the fitted line, which grows with the square root of frequency. "
                  "Look for points above it at high frequencies: a loss that is not the skin effect's.",
       .x = {"Frequency", "Hz", true},
       .y = {"Attenuation", "dB"},
       .series = {},
       .markers = {}},
      [&](double hz) { return line_attenuation_db(delay, hz); }));
  return plots;
}

std::vector<std::string> warnings_of(const ThroughData& data, const ThroughDelay& delay) {
  constexpr double hopeless_misfit = 3;
  std::vector<std::string> warnings;
  if (delay.fit.misfit > hopeless_misfit)
    warnings.push_back(fmt::format(
        "a skin-effect line does not describe this device (misfit {:.3g}, 1 is noise): bulk delay and "
        "corrections are not to be used, what each way reads is",
        delay.fit.misfit));
  else if (delay.fit.misfit > largest_good_misfit)
    warnings.push_back(fmt::format(
        "the fitted line leaves {:.3g} times what the noise would; uncertainties were enlarged by that",
        delay.fit.misfit));
  if (delay.correlation.ambiguous)
    warnings.push_back(
        fmt::format("the next lobe of the correlation is as high ({:.3g} of the highest): its "
                    "delay may be off by a whole lobe",
                    delay.correlation.next_lobe));
  if (data.average.before().groups() < 8)
    warnings.emplace_back("fewer than 8 records: corrections have no uncertainty, and there are no bands");
  if (data.two_runs)
    warnings.emplace_back(
        "before and after were recorded one after the other: what the trigger and the "
        "connections moved between the runs is in the delay and not in its uncertainty");
  return warnings;
}

}  // namespace

Result analyse_through(const ThroughData& data) {
  const ThroughDelay delay = through_delay(data);
  const std::string& before = delay.means.before.head.name;
  const std::string& after = delay.means.after.head.name;
  Result result{
      .kind = "delay through",
      .title = fmt::format("Delay from {} to {}", before, after),
      .answer = fmt::format("{} → {}: bulk delay {}; cross-correlation reads {}", before, after,
                            format_estimate(delay.bulk_delay_s, "s"),
                            format_estimate(delay.ways.front().read_s, "s")),
      .figures = {},
      .tables = {ways_table(delay), bands_table(delay)},
      .plots = plots_of(delay),
      .warnings = warnings_of(data, delay),
      .cautions = {"The delay holds the difference of the two digitizer channels and of the leads to "
                   "them: exchange the channels and take half the difference to cancel it.",
                   "Drift during the run is not in the uncertainties."},
      .provenance = {}};
  for (const WayOfReading& way : delay.ways) {
    if (&way != &delay.ways.front())
      result.answer += fmt::format(", {} {}", way.name, format_estimate(way.read_s, "s"));
  }
  result.answer += ".";
  const auto plain = [](double value) { return Estimate{value, -1}; };
  result.figures = {
      {"bulk_delay", "Bulk delay (wave front)", delay.bulk_delay_s, "s"},
      {"half_time", "Half time of the line's step", half_time(delay.loss_constant), "s"},
      {"loss_100_mhz", "Loss at 100 MHz", loss_db(delay.loss_constant), "dB"},
      {"gain", "Gain beside the loss", delay.gain, ""},
      {"misfit", "Misfit of the line (1: noise)", plain(delay.fit.misfit), ""},
      {"records", "Records used", plain(static_cast<double>(data.average.before().records())), ""},
      {"left_out", "Records left out", plain(static_cast<double>(data.left_out)), ""}};
  return result;
}

}  // namespace firstedge
