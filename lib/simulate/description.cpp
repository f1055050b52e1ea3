#include "firstedge/simulate/description.hpp"

#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

double step_v(const DigitizerPlan& digitizer) {
  return digitizer.bits == 0 ? 0 : digitizer.full_scale_v / std::exp2(digitizer.bits);
}

double noise_v(const ChannelPlan& channel) {
  const NoisePlan& noise = channel.noise;
  const double step = step_v(channel.digitizer);
  return std::sqrt(noise.white_v * noise.white_v + noise.band_v * noise.band_v +
                   noise.flicker_v * noise.flicker_v + step * step / 12);
}

// Integral of the squared slope of the shape (1/s), by differences on its own grid.
double slope_energy_per_s(const ChainShape& shape, double step_s) {
  double sum = 0;
  for (double t = shape.first_s(); t < shape.last_s(); t += step_s) {
    const double slope = (shape(t + step_s / 2) - shape(t - step_s / 2)) / step_s;
    sum += slope * slope * step_s;
  }
  return sum;
}

Table channels_table(const Simulation& simulation) {
  const SimulationPlan& plan = simulation.plan();
  Table table{
      .key = "channels",
      .title = "Channels",
      .note =
          "Height: fixed, lowest, or most probable. The bound is for one pulse of that height, all noise "
          "taken as white.",
      .columns = {{"channel", "Channel", ""},
                  {"delay", "Delay", "s"},
                  {"height", "Height", "V"},
                  {"edge", "Edge 10-90 %", "s"},
                  {"noise", "Noise", "V"},
                  {"ratio", "Height over noise", ""},
                  {"step", "One count", "V"},
                  {"bound", "Bound", "s"}},
      .rows = {}};
  for (std::size_t c = 0; c < plan.channels.size(); ++c) {
    const ChannelPlan& channel = plan.channels[c];
    const ChainShape& shape = simulation.shape(c);
    const double height_v = channel.heights.height_v;
    const double deviation_v = noise_v(channel);
    const double energy = slope_energy_per_s(shape, plan.interval_s / 8);
    const double bound_s = deviation_v / height_v * std::sqrt(plan.interval_s / energy);
    table.rows.push_back(
        {channel.name, channel.delay_s, height_v, shape.crossing_s(0.9) - shape.crossing_s(0.1), deviation_v,
         deviation_v > 0 ? height_v / deviation_v : std::nan(""), step_v(channel.digitizer), bound_s});
  }
  return table;
}

Plot shapes_plot(const Simulation& simulation) {
  Plot plot{.key = "shapes",
            .title = "Noiseless pulses",
            .caption =
                "The pulse of each channel from the particle's passage on, at its planned height. Look for "
                "the edge "
                "that the band leaves, and an undershoot after an AC coupling.",
            .x = {"Time from the passage", "s"},
            .y = {"Voltage", "V"},
            .series = {},
            .markers = {}};
  for (std::size_t c = 0; c < simulation.plan().channels.size(); ++c) {
    const ChannelPlan& channel = simulation.plan().channels[c];
    Series series{.label = channel.name, .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
    const std::optional<LinePlan>& line = channel.shape.line;
    const double end_s = 8 * channel.shape.decay_s + (line ? line_lasts_s(*line) : 0);
    const double step_s = end_s / (line ? 2000 : 400);
    for (double t = -channel.shape.decay_s / 2; t < end_s; t += step_s) {
      series.x.push_back(t + channel.delay_s);
      series.y.push_back(channel.polarity * channel.heights.height_v * simulation.shape(c)(t));
    }
    plot.series.push_back(std::move(series));
  }
  return plot;
}

Plot noise_plot(const Simulation& simulation) {
  Plot plot{.key = "noise",
            .title = "Planned noise",
            .caption =
                "One-sided density of each channel's noise, without pick-up lines and quantisation. Look for "
                "where the band ends, and for a rise towards low frequencies, as planned.",
            .x = {"Frequency", "Hz", true},
            .y = {"Noise density", "V/√Hz", true},
            .series = {},
            .markers = {}};
  constexpr std::size_t size = 1024;
  const double interval_s = simulation.plan().interval_s;
  for (std::size_t c = 0; c < simulation.plan().channels.size(); ++c) {
    const std::vector<double> density = simulation.noise(c).density_v2_per_hz(size);
    Series series{.label = simulation.plan().channels[c].name,
                  .kind = Series::Kind::line,
                  .x = {},
                  .y = {},
                  .y_uncertainty = {}};
    for (std::size_t k = 1; k < density.size(); ++k) {
      if (density[k] <= 0) continue;
      series.x.push_back(static_cast<double>(k) / (static_cast<double>(size) * interval_s));
      series.y.push_back(std::sqrt(density[k]));
    }
    if (!series.x.empty()) plot.series.push_back(std::move(series));
  }
  return plot;
}

}  // namespace

Result describe(const Simulation& simulation, const Provenance& provenance) {
  const SimulationPlan& plan = simulation.plan();
  Result result{.kind = "simulation",
                .title = plan.title,
                .answer = fmt::format("{} records of {} channels, {} samples each, simulated with seed {}.",
                                      plan.records, plan.channels.size(), plan.samples, plan.seed),
                .figures = {{"interval", "Sample interval", {.value = plan.interval_s}, "s"},
                            {"records", "Records", {.value = static_cast<double>(plan.records)}, ""}},
                .tables = {channels_table(simulation)},
                .plots = {shapes_plot(simulation)},
                .warnings = {},
                .cautions = {"Simulated data: nothing here was measured."},
                .provenance = provenance};
  if (Plot noise = noise_plot(simulation); !noise.series.empty()) result.plots.push_back(std::move(noise));
  return result;
}

}  // namespace firstedge
