// The tables and plots of amplified against bare.
#include "firstedge/compare/compare_parts.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t curve_points = 100;

Series spread_curve(std::string label, double low_v, double high_v, double factor_v_s, double rest_s) {
  Series curve{.label = std::move(label), .kind = Series::Kind::line};
  for (std::size_t i = 0; i <= curve_points; ++i) {
    const double signal_v = low_v * std::pow(high_v / low_v, static_cast<double>(i) / curve_points);
    curve.x.push_back(signal_v);
    curve.y.push_back(spread_at(signal_v, factor_v_s, rest_s));
  }
  return curve;
}

void mark(Plot& plot, double at_v, const char* label) {
  if (std::isfinite(at_v) && at_v > 0) plot.markers.push_back({at_v, true, label});
}

double finite_or_unknown(double value) {
  return std::isfinite(value) ? value : nan;
}

}  // namespace

Table amplifier_table(const Amplification& found) {
  const Estimate none{nan, nan};
  Table table{
      .key = "amplifier",
      .title = "Amplified against bare",
      .note = found.one_signal()
                  ? "Both channels carry one signal: the gain is the median of the ratios of the heights."
                  : "The heights of the two channels are not tied together (two sensors, each with its own "
                    "deposit): the gain is the ratio of the median heights and takes the sensors as equal.",
      .columns = {{"what", "", ""},
                  {"bare_v", "Bare", "V"},
                  {"amplified_v", "Amplified", "V"},
                  {"referred_v", "Amplified, at the input", "V"},
                  {"bare_s", "Bare", "s"},
                  {"amplified_s", "Amplified", "s"}}};
  table.rows.push_back(Row{std::string("noise of a sample"), found.bare_noise_v, found.amplified_noise_v,
                           found.referred_noise_v, none, none});
  if (std::isfinite(found.added_noise_v.value))
    table.rows.push_back(Row{std::string("added noise, if all bare noise comes with the signal"), none,
                             found.added_noise_v,
                             Estimate{found.added_noise_v.value / found.gain.value,
                                      found.added_noise_v.uncertainty / found.gain.value},
                             none, none});
  table.rows.push_back(Row{std::string("transition duration, 10 to 90 %"), none, none, none,
                           found.bare_transition_s, found.amplified_transition_s});
  table.rows.push_back(Row{std::string("the amplifier's own transition duration"), none, none, none, none,
                           found.own_transition_s});
  table.rows.push_back(Row{std::string("spread by noise at the typical signal"), found.typical_signal_v,
                           found.typical_signal_v * found.gain.value, found.typical_signal_v,
                           found.bare_spread_s, found.amplified_spread_s});
  table.rows.push_back(Row{std::string("saturation begins"), finite_or_unknown(found.bare_saturates_v),
                           finite_or_unknown(found.amplified_saturates_v * found.gain.value),
                           finite_or_unknown(found.amplified_saturates_v), none, none});
  return table;
}

Plot amplifier_plot(const Amplification& found) {
  const double low = 0.3 * found.typical_signal_v;
  double high = 10 * found.typical_signal_v;
  if (std::isfinite(found.pays_below_v.value)) high = std::max(high, 2 * found.pays_below_v.value);
  Plot plot{.key = "equal_signal",
            .title = "Spread of one channel at equal signal",
            .caption =
                "Look for: the distance of the curves where your signals are. They meet where the rest (the "
                "sensor itself) rules; to the right of the saturation line the amplified curve no longer "
                "holds.",
            .x = {"Signal at the input", "V", true},
            .y = {"Spread: noise and rest", "s"}};
  plot.series.push_back(spread_curve("bare", low, high, found.bare_factor_v_s.value, found.rest_s.value));
  plot.series.push_back(
      spread_curve("amplified", low, high, found.amplified_factor_v_s.value, found.rest_s.value));
  mark(plot, found.typical_signal_v, "median signal");
  mark(plot, found.pays_below_v.value, "amplifier pays below");
  mark(plot, found.amplified_saturates_v, "amplified saturates");
  return plot;
}

Plot saturation_plot(const Amplification& found, const AmplifierInput& input) {
  Plot plot{.key = "signals",
            .title = "Share of pulses above a signal",
            .caption =
                "Look for: how much of the curve lies to the right of the line where the amplified channel "
                "saturates. Those pulses are clipped there and keep only the start of their edge.",
            .x = {"Signal at the input", "V", true},
            .y = {"Share of pulses above", ""}};
  for (const auto& [label, heights, scale] :
       {std::tuple{"bare", &input.bare.height_v, 1.0},
        {"amplified, over the gain", &input.amplified.height_v, found.gain.value}}) {
    const std::vector<double> sorted = finite_sorted(*heights);
    Series curve{.label = label, .kind = Series::Kind::line};
    for (std::size_t i = 0; i <= curve_points && !sorted.empty(); ++i) {
      const double p = static_cast<double>(i) / curve_points;
      curve.x.push_back(quantile_of_sorted(sorted, p) / scale);
      curve.y.push_back(1 - p);
    }
    plot.series.push_back(std::move(curve));
  }
  mark(plot, found.amplified_saturates_v, "amplified saturates");
  mark(plot, found.bare_saturates_v, "bare saturates");
  return plot;
}

}  // namespace firstedge
