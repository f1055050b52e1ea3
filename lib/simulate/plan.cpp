#include "firstedge/simulate/plan.hpp"

#include "firstedge/core/error.hpp"

#include <cmath>
#include <set>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double most_samples = 1 << 24;
constexpr double most_records = 1e12;

// A plain number that must be whole and within [low, high].
double whole_number(const Settings& settings, const std::string& name, double fallback, double low,
                    double high) {
  const double value = settings.number(name, fallback);
  if (!(value >= low && value <= high) || value != std::floor(value)) {
    settings.refuse(name, fmt::format("is {}", value),
                    fmt::format("give a whole number from {} to {}", low, high));
  }
  return value;
}

double positive(const Settings& settings, const std::string& name, std::string_view unit, double fallback) {
  const double value = settings.quantity(name, unit, fallback);
  if (!(value > 0) || !std::isfinite(value))
    settings.refuse(name, "is not above zero", "give a positive quantity");
  return value;
}

double not_negative(const Settings& settings, const std::string& name, std::string_view unit,
                    double fallback) {
  const double value = settings.quantity(name, unit, fallback);
  if (!(value >= 0) || !std::isfinite(value))
    settings.refuse(name, "is below zero", "give zero or a positive quantity");
  return value;
}

ShapePlan shape_plan(const Settings& settings) {
  ShapePlan plan;
  plan.rise_s = positive(settings, "rise", "s", plan.rise_s);
  plan.decay_s = positive(settings, "decay", "s", plan.decay_s);
  plan.band_hz = positive(settings, "band", "Hz", plan.band_hz);
  plan.low_cut_hz = not_negative(settings, "low_cut", "Hz", 0);
  plan.skin_s = not_negative(settings, "skin", "s", 0);
  if (settings.has("line")) plan.line = line_plan(settings.group("line"));
  if (plan.rise_s >= plan.decay_s)
    settings.refuse("rise", "is not below decay", "make rise the shorter of the two");
  settings.finish();
  return plan;
}

HeightPlan height_plan(const Settings& settings) {
  HeightPlan plan;
  const std::string kind = settings.choice("kind", "fixed", {"fixed", "uniform", "landau"});
  if (kind == "fixed") {
    plan.height_v = positive(settings, "height", "V", plan.height_v);
  } else if (kind == "uniform") {
    plan.kind = HeightPlan::Kind::uniform;
    const auto range = settings.range("between", "V");
    if (!range) settings.refuse("between", "is missing", "give [\"5 mV\", \"100 mV\"]");
    std::tie(plan.height_v, plan.highest_v) = *range;
  } else {
    plan.kind = HeightPlan::Kind::landau;
    plan.height_v = positive(settings, "most_probable", "V", plan.height_v);
    plan.width_v = positive(settings, "width", "V", plan.width_v);
  }
  settings.finish();
  return plan;
}

NoisePlan noise_plan(const Settings& settings) {
  NoisePlan plan;
  plan.white_v = not_negative(settings, "white", "V", 0);
  plan.band_v = not_negative(settings, "band", "V", 0);
  plan.flicker_v = not_negative(settings, "flicker", "V", 0);
  for (const Settings& line : settings.groups("pick_up")) {
    plan.pick_up.push_back({.frequency_hz = positive(line, "frequency", "Hz", 98e6),
                            .amplitude_v = not_negative(line, "amplitude", "V", 0)});
    line.finish();
  }
  settings.finish();
  return plan;
}

DigitizerPlan digitizer_plan(const Settings& settings) {
  DigitizerPlan plan;
  plan.bits = static_cast<int>(whole_number(settings, "bits", plan.bits, 0, 16));
  if (plan.bits == 1) settings.refuse("bits", "is 1", "give 0 for no digitizer, or 2 to 16");
  plan.full_scale_v = positive(settings, "full_scale", "V", plan.full_scale_v);
  plan.offset_v = settings.quantity("offset", "V", 0);
  plan.sampling_jitter_s = not_negative(settings, "sampling_jitter", "s", 0);
  settings.finish();
  return plan;
}

ChannelPlan channel_plan(const Settings& settings) {
  ChannelPlan plan;
  plan.name = settings.text("name", "");
  if (plan.name.empty()) settings.refuse("name", "is missing", "give every channel a name");
  plan.sensor = settings.text("sensor", "");
  plan.delay_s = settings.quantity("delay", "s", 0);
  plan.intrinsic_spread_s = not_negative(settings, "intrinsic_spread", "s", 0);
  plan.polarity = settings.choice("polarity", "positive", {"positive", "negative"}) == "negative" ? -1 : 1;
  plan.baseline_v = settings.quantity("baseline", "V", 0);
  plan.baseline_spread_v = not_negative(settings, "baseline_spread", "V", 0);
  plan.efficiency = settings.number("efficiency", 1);
  if (!(plan.efficiency >= 0 && plan.efficiency <= 1))
    settings.refuse("efficiency", "is no share", "give 0 to 1");
  plan.second_pulse_rate_hz = not_negative(settings, "second_pulse_rate", "Hz", 0);
  plan.load_ohm = positive(settings, "load", "ohm", 50);
  plan.shape = shape_plan(settings.group("shape"));
  plan.heights = height_plan(settings.group("heights"));
  plan.noise = noise_plan(settings.group("noise"));
  plan.digitizer = digitizer_plan(settings.group("digitizer"));
  settings.finish();
  return plan;
}

}  // namespace

SimulationPlan simulation_plan(const Settings& settings) {
  SimulationPlan plan;
  plan.title = settings.text("title", "simulated run");
  plan.seed = static_cast<std::uint64_t>(whole_number(settings, "seed", 1, 0, 9e15));
  plan.records = static_cast<std::uint64_t>(whole_number(settings, "records", 1000, 1, most_records));
  plan.samples = static_cast<std::size_t>(whole_number(settings, "samples", 500, 8, most_samples));
  plan.interval_s = positive(settings, "interval", "s", plan.interval_s);
  plan.first_sample_s = settings.quantity("first_sample", "s", plan.first_sample_s);
  plan.passage_s = settings.range("passage", "s").value_or(plan.passage_s);
  const std::string start = settings.text("start", "");
  if (!start.empty()) plan.start = parse_instant(start, TimeScale::utc, settings.place() + "/start");
  plan.trigger_rate_hz = positive(settings, "trigger_rate", "Hz", plan.trigger_rate_hz);
  std::set<std::string> names;
  for (const Settings& group : settings.groups("channels")) {
    plan.channels.push_back(channel_plan(group));
    if (plan.channels.back().digitizer.sampling_jitter_s > plan.interval_s / 4) {
      group.refuse("digitizer", "has a sampling jitter above a quarter of the interval",
                   "give less: samples would no longer stand in order");
    }
    if (!names.insert(plan.channels.back().name).second) {
      group.refuse("name", fmt::format("'{}' is there twice", plan.channels.back().name),
                   "give each channel its own");
    }
  }
  if (plan.channels.empty()) settings.refuse("channels", "is empty", "plan at least one channel");
  settings.finish();
  return plan;
}

}  // namespace firstedge
