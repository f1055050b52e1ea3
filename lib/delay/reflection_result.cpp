// The delay by reflection as a Result.
#include "firstedge/delay/reflection.hpp"
#include "firstedge/delay/stated.hpp"
#include "firstedge/signal/skin_line.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double shown_loss_hz = 100e6;

std::string end_word(ReflectionOptions::End end) {
  switch (end) {
    case ReflectionOptions::End::open:
      return "open";
    case ReflectionOptions::End::shorted:
      return "shorted";
    case ReflectionOptions::End::matched:
      return "matched";
  }
  return "";
}

Table mismatches_table(const ReflectionDelay& found) {
  Table table{.key = "mismatches",
              .title = "Mismatches along the cable",
              .note =
                  "One-way delay from the near end. Reflection: of the voltage, positive where the "
                  "impedance rises, loss on the way taken out; peeled: what the mismatches before hold "
                  "back taken out as well. Behind the end: a wave that went to and fro more than once.",
              .columns = {{"delay", "Delay", "s"},
                          {"reflection", "Reflection", ""},
                          {"peeled", "Peeled", ""},
                          {"where", "Where", ""}},
              .rows = {}};
  for (const Mismatch& each : found.mismatches)
    table.rows.push_back({each.delay_s, each.reflection, each.peeled,
                          std::string(each.behind_end ? "behind the end" : "on the way")});
  return table;
}

Table impedance_table(const ReflectionDelay& found) {
  Table table{.key = "impedance",
              .title = "Impedance from one mismatch to the next",
              .note =
                  "Between one mismatch and the next. The uncertainty grows with each mismatch passed; that "
                  "of the impedance at the near end, which was given, is not in it.",
              .columns = {{"from", "From", "s"}, {"to", "To", "s"}, {"impedance", "Impedance", "ohm"}},
              .rows = {}};
  for (const ImpedanceSection& section : found.sections)
    table.rows.push_back({section.from_s, section.to_s, section.impedance_ohm});
  return table;
}

Plot trace_plot(const ReflectionDelay& found) {
  Plot plot{.key = "trace",
            .title = "Pulse and echoes",
            .caption = "Mean over all records with the fitted echoes. Look for echoes that are not fitted.",
            .x = {"Time from the trigger", "s"},
            .y = {"Voltage", "V"},
            .series = {},
            .markers = {{found.cut_s, true, "echoes from here"}}};
  Series measured{.label = "measured", .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  Series fitted{.label = "fitted echoes", .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  for (std::size_t i = 0; i < found.mean.size(); ++i) {
    const double time_s = found.mean.time_s(static_cast<double>(i));
    measured.x.push_back(time_s);
    measured.y.push_back(found.mean.volts[i]);
    if (time_s < found.cut_s) continue;
    fitted.x.push_back(time_s);
    fitted.y.push_back(found.fit.model_v[i]);
  }
  plot.series = {std::move(measured), std::move(fitted)};
  return plot;
}

Plot impedance_plot(const ReflectionDelay& found) {
  Plot plot{
      .key = "impedance",
      .title = "Impedance along the cable",
      .caption = "Steps are mismatches; a step up and down again is a bad connector or a crushed stretch.",
      .x = {"One-way delay", "s"},
      .y = {"Impedance", "ohm"},
      .series = {},
      .markers = {}};
  Series profile{.label = "impedance", .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  for (const ImpedanceSection& section : found.sections) {
    for (const double at_s : {section.from_s, section.to_s}) {
      profile.x.push_back(at_s);
      profile.y.push_back(section.impedance_ohm.value);
    }
  }
  plot.series = {std::move(profile)};
  return plot;
}

std::vector<Figure> figures_of(const ReflectionDelay& found, std::size_t records) {
  const auto plain = [](double value) { return Estimate{value, -1}; };
  std::vector<Figure> figures;
  if (found.delay_s) {
    const Estimate& loss = *found.loss_constant;
    const Estimate round_trip{2 * found.delay_s->value, 2 * found.delay_s->uncertainty,
                              found.delay_s->degrees_of_freedom};
    figures = {{"delay", "Delay, one way (wave front)", *found.delay_s, "s"},
               {"round_trip", "Round trip", round_trip, "s"},
               {"loss_100_mhz",
                "Loss at 100 MHz, one way",
                {SkinLine{0, loss.value}.attenuation_db(shown_loss_hz),
                 SkinLine{0, loss.uncertainty}.attenuation_db(shown_loss_hz)},
                "dB"},
               {"end_reflection", "Reflection at the end", *found.end_reflection, ""}};
  }
  figures.push_back({"misfit", "Misfit of the echoes (1: noise)", plain(found.fit.misfit), ""});
  figures.push_back({"records", "Records used", plain(static_cast<double>(records)), ""});
  return figures;
}

}  // namespace

Result analyse_reflection(const TraceAverage& average, const ReflectionOptions& options) {
  const ReflectionDelay found = reflection_delay(average, options);
  const std::string& name = found.mean.head.name;
  const auto on_the_way = std::count_if(found.mismatches.begin(), found.mismatches.end(),
                                        [](const Mismatch& each) { return !each.behind_end; });
  const std::string mismatches = on_the_way == 0   ? "no mismatch stands out"
                                 : on_the_way == 1 ? "one mismatch stands out"
                                                   : fmt::format("{} mismatches stand out", on_the_way);
  Result result{.kind = "delay by reflection",
                .title = fmt::format("Reflections seen on {}", name),
                .answer = found.delay_s
                              ? fmt::format("{}, {} end: delay {} one way; {}.", name, end_word(options.end),
                                            format_estimate(*found.delay_s, "s"), mismatches)
                              : fmt::format("{}, matched end: {}.", name, mismatches),
                .figures = figures_of(found, average.records()),
                .tables = {mismatches_table(found), impedance_table(found)},
                .plots = {trace_plot(found), impedance_plot(found)},
                .warnings = {},
                .cautions = {"Echoes within the pulse that goes in are not seen.",
                             "The delay counts from where the pulse is taken off (the tee) to the end."},
                .provenance = {}};
  if (found.fit.misfit > largest_good_misfit)
    result.warnings.push_back(
        fmt::format("the echoes leave {:.3g} times what the noise would; uncertainties were enlarged by that",
                    found.fit.misfit));
  if (!found.delay_s && !found.mismatches.empty())
    result.warnings.emplace_back("with a matched end the loss is not known: sizes are too small by it");
  return result;
}

}  // namespace firstedge
