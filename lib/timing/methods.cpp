#include "firstedge/timing/methods.hpp"

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/threads.hpp"
#include "firstedge/timing/constant_fraction.hpp"
#include "firstedge/timing/delayed_fraction.hpp"
#include "firstedge/timing/leading_edge.hpp"
#include "firstedge/timing/shape_family_fit.hpp"
#include "firstedge/timing/template_fit.hpp"
#include "firstedge/timing/time_bound.hpp"
#include "firstedge/timing/walk_learning.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

using TimePulses = std::function<std::vector<Stamp>(const ConditionedTrace&, std::span<const Pulse>)>;

/// What a row of the table makes: the words for people and the method with its options.
struct Ready {
  std::string settings;
  TimePulses time_pulses;
};

/// A method that looks at one pulse at a time, over the pulses of a trace.
template <class TimePulse>
TimePulses one_by_one(TimePulse time_pulse) {
  return [time_pulse = std::move(time_pulse)](const ConditionedTrace& trace, std::span<const Pulse> pulses) {
    std::vector<Stamp> stamps;
    stamps.reserve(pulses.size());
    for (const Pulse& pulse : pulses) stamps.push_back(time_pulse(trace, pulse));
    return stamps;
  };
}

constexpr std::array<std::pair<std::string_view, Interpolation>, 3> interpolations{
    {{"linear", Interpolation::linear},
     {"cubic", Interpolation::cubic},
     {"quintic", Interpolation::quintic}}};

Interpolation interpolation_of(const Settings& settings, Interpolation fallback) {
  std::vector<std::string> words;
  std::string standard;
  for (const auto& [word, value] : interpolations) {
    words.emplace_back(word);
    if (value == fallback) standard = word;
  }
  const std::string chosen = settings.choice("interpolation", standard, words);
  return std::find_if(interpolations.begin(), interpolations.end(),
                      [&](const auto& row) { return row.first == chosen; })
      ->second;
}

std::string_view word_of(Interpolation interpolation) {
  return std::find_if(interpolations.begin(), interpolations.end(),
                      [&](const auto& row) { return row.second == interpolation; })
      ->first;
}

double fraction_of(const Settings& settings, double fallback) {
  const double fraction = settings.number("fraction", fallback);
  if (!(fraction > 0 && fraction < 1))
    settings.refuse("fraction", "is not a fraction of the height", "give a number between 0 and 1");
  return fraction;
}

constexpr double most_edge_samples = 128;

std::size_t edge_samples_of(const Settings& settings) {
  const double samples = settings.number("edge_samples", 0);
  const bool even = samples == 2 * std::floor(samples / 2);
  if (samples != 0 && !(even && samples >= 6 && samples <= most_edge_samples)) {
    settings.refuse("edge_samples", "is no number of samples to fit an edge to",
                    "give an even number from 6 to 128, or 0 to interpolate");
  }
  return static_cast<std::size_t>(samples);
}

double positive_of(const Settings& settings, const std::string& name, double value) {
  if (!(value > 0)) settings.refuse(name, "is not above 0", "give a value above 0");
  return value;
}

/// The curve whose crossing is taken, where it is not the usual one.
std::string curve_words(Interpolation interpolation, std::size_t edge_samples) {
  if (edge_samples > 0) return fmt::format(", edge_samples={}", edge_samples);
  return interpolation == Interpolation::quintic ? ""
                                                 : fmt::format(", interpolation={}", word_of(interpolation));
}

/// Heights of clipped pulses, where the channel's template is known.
class ClippedHeights {
 public:
  explicit ClippedHeights(const ChannelKnowledge& knowledge) {
    if (knowledge.pulse_template) fit_.emplace(*knowledge.pulse_template, knowledge.noise);
  }
  std::optional<PeakHeight> operator()(const ConditionedTrace& trace, const Pulse& pulse) const {
    if (!fit_ || !pulse.flags.has(Flag::clipped)) return std::nullopt;
    return fit_->height(trace, pulse);
  }

 private:
  std::optional<TemplateFit> fit_;
};

Ready constant_fraction_ready(const Settings& settings, const ChannelKnowledge& knowledge) {
  ConstantFractionOptions options;
  options.fraction = fraction_of(settings, options.fraction);
  options.interpolation = interpolation_of(settings, options.interpolation);
  options.edge_samples = edge_samples_of(settings);
  return {fmt::format("fraction={:g}{}", options.fraction,
                      curve_words(options.interpolation, options.edge_samples)),
          one_by_one([options, noise = ChannelNoise(knowledge.noise), heights = ClippedHeights(knowledge)](
                         const ConditionedTrace& trace, const Pulse& pulse) {
            const std::optional<PeakHeight> height = heights(trace, pulse);
            return height ? constant_fraction(trace, pulse, noise, *height, options)
                          : constant_fraction(trace, pulse, noise, options);
          })};
}

constexpr std::array<std::pair<std::string_view, WalkMeasure>, 3> walk_measures{
    {{"height", WalkMeasure::height},
     {"time_over_threshold", WalkMeasure::time_over_threshold},
     {"slew", WalkMeasure::slew}}};

/// Nothing for "none".
std::optional<WalkMeasure> walk_measure_of(const Settings& settings) {
  std::vector<std::string> words{"none"};
  for (const auto& [word, value] : walk_measures) words.emplace_back(word);
  const std::string chosen = settings.choice("walk", "none", words);
  for (const auto& [word, value] : walk_measures)
    if (word == chosen) return value;
  return std::nullopt;
}

LeadingEdgeOptions leading_edge_options(const Settings& settings) {
  LeadingEdgeOptions options;
  options.threshold_v = settings.quantity("threshold", "V");
  if (options.threshold_v) positive_of(settings, "threshold", *options.threshold_v);
  options.threshold_over_noise =
      positive_of(settings, "threshold_over_noise",
                  settings.number("threshold_over_noise", options.threshold_over_noise));
  options.interpolation = interpolation_of(settings, options.interpolation);
  options.edge_samples = edge_samples_of(settings);
  return options;
}

Ready leading_edge_ready(const Settings& settings, const ChannelKnowledge& knowledge) {
  const LeadingEdgeOptions options = leading_edge_options(settings);
  const std::string threshold = options.threshold_v
                                    ? fmt::format("threshold={}", format_quantity(*options.threshold_v, "V"))
                                    : fmt::format("threshold_over_noise={:g}", options.threshold_over_noise);
  const std::string words =
      fmt::format("{}{}", threshold, curve_words(options.interpolation, options.edge_samples));
  const std::optional<WalkMeasure> measure = walk_measure_of(settings);
  if (!measure) {
    return {words, one_by_one([options, noise = ChannelNoise(knowledge.noise)](const ConditionedTrace& trace,
                                                                               const Pulse& pulse) {
              return leading_edge(trace, pulse, noise, options);
            })};
  }
  if (!knowledge.walk || knowledge.walk->measure != *measure)
    settings.refuse("walk", "needs a walk correction", "learn it from records with pulses of many heights");
  return {
      fmt::format("{}, walk={}", words, settings.text("walk", "")),
      one_by_one([options, noise = ChannelNoise(knowledge.noise), walk = knowledge.walk,
                  heights = ClippedHeights(knowledge)](const ConditionedTrace& trace, const Pulse& pulse) {
        return leading_edge(trace, pulse, noise, options, *walk, heights(trace, pulse));
      })};
}

Ready delayed_fraction_ready(const Settings& settings, const ChannelKnowledge& knowledge) {
  DelayedFractionOptions options;
  options.fraction = fraction_of(settings, options.fraction);
  options.delay_s = positive_of(settings, "delay", settings.quantity("delay", "s", options.delay_s));
  options.interpolation = interpolation_of(settings, options.interpolation);
  options.edge_samples = edge_samples_of(settings);
  return {fmt::format("fraction={:g}, delay={}{}", options.fraction, format_quantity(options.delay_s, "s"),
                      curve_words(options.interpolation, options.edge_samples)),
          one_by_one([options, noise = ChannelNoise(knowledge.noise)](const ConditionedTrace& trace,
                                                                      const Pulse& pulse) {
            return delayed_fraction(trace, pulse, noise, options);
          })};
}

TemplateFitOptions template_fit_options(const Settings& settings) {
  TemplateFitOptions options;
  options.fit_baseline = settings.flag("fit_baseline", options.fit_baseline);
  options.poor_fit_probability = settings.number("poor_fit_probability", options.poor_fit_probability);
  if (!(options.poor_fit_probability >= 0 && options.poor_fit_probability < 1)) {
    settings.refuse("poor_fit_probability", "is no probability", "give a number from 0 up to 1");
  }
  return options;
}

Ready template_fit_ready(const Settings& settings, const ChannelKnowledge& knowledge) {
  TemplateFitOptions options = template_fit_options(settings);
  options.find_hidden_pulses = settings.flag("find_hidden_pulses", options.find_hidden_pulses);
  if (!knowledge.pulse_template) {
    settings.refuse("method", "needs a template", "give one, or learn it from records with pulses");
  }
  std::vector<std::string> words;
  if (!options.fit_baseline) words.emplace_back("fit_baseline=false");
  if (!options.find_hidden_pulses) words.emplace_back("find_hidden_pulses=false");
  return {fmt::format("{}", fmt::join(words, ", ")),
          [fit = TemplateFit(*knowledge.pulse_template, knowledge.noise, options)](
              const ConditionedTrace& trace, std::span<const Pulse> pulses) { return fit(trace, pulses); }};
}

Ready template_family_ready(const Settings& settings, const ChannelKnowledge& knowledge) {
  constexpr std::uint64_t most_components = 2;
  const TemplateFitOptions options = template_fit_options(settings);
  const std::uint64_t most = settings.whole_number("components", most_components, 0, most_components);
  if (!knowledge.family) {
    settings.refuse("method", "needs a shape family", "learn it from records with pulses");
  }
  ShapeFamily family = *knowledge.family;
  if (family.components.size() > most) family.components.resize(most);
  return {fmt::format("components={}{}", family.components.size(),
                      options.fit_baseline ? "" : ", fit_baseline=false"),
          [fit = ShapeFamilyFit(family, knowledge.noise, options)](
              const ConditionedTrace& trace, std::span<const Pulse> pulses) { return fit(trace, pulses); }};
}

/// The table of methods: a new one is one line here.
struct Row {
  std::string_view name;
  bool needs_template, needs_family;
  Ready (*make)(const Settings&, const ChannelKnowledge&);
};
constexpr std::array<Row, 5> method_table{{
    {"constant_fraction", false, false, constant_fraction_ready},
    {"leading_edge", false, false, leading_edge_ready},
    {"delayed_fraction", false, false, delayed_fraction_ready},
    {"template_fit", true, false, template_fit_ready},
    {"template_family", true, true, template_family_ready},
}};

const Row& row_of(const Settings& settings) {
  const std::string name =
      settings.choice("method", std::string(method_table.front().name), timing_method_names());
  return *std::find_if(method_table.begin(), method_table.end(),
                       [&](const Row& row) { return row.name == name; });
}

}  // namespace

bool needs_template(const Settings& settings) {
  return row_of(settings).needs_template;
}

bool needs_family(const Settings& settings) {
  return row_of(settings).needs_family;
}

bool needs_walk(const Settings& settings) {
  return row_of(settings).name == "leading_edge" && walk_measure_of(settings).has_value();
}

std::vector<Stamp> walk_reference(const ChannelKnowledge& knowledge, std::span<const PulseInTrace> pulses) {
  Settings settings("walk reference");
  settings.set("method", knowledge.pulse_template ? "template_fit" : "constant_fraction");
  const TimingMethod method = make_timing_method(settings, knowledge);
  std::vector<Stamp> stamps;
  const std::vector<PulsesOfTrace> traces = by_trace(pulses);
  const auto of_traces = made_by_all_threads(
      traces.size(), [&](std::size_t i) { return method.time_pulses(*traces[i].trace, traces[i].pulses); });
  for (std::size_t i = 0; i < traces.size(); ++i) {
    const auto first = of_traces[i].begin();
    stamps.insert(stamps.end(), first, first + static_cast<std::ptrdiff_t>(traces[i].pulses.size()));
  }
  return stamps;
}

WalkCorrection learn_walk(const Settings& settings, const ChannelKnowledge& knowledge,
                          std::span<const PulseInTrace> pulses, std::span<const Stamp> reference) {
  const std::optional<WalkMeasure> measure = walk_measure_of(settings);
  if (!measure) settings.refuse("walk", "asks for no correction", "name what tells the walk");
  return learn_walk(pulses, reference, knowledge.noise, leading_edge_options(settings), *measure);
}

TimingMethod make_timing_method(const Settings& settings, const ChannelKnowledge& knowledge) {
  const Row& row = row_of(settings);
  Ready ready = row.make(settings, knowledge);
  settings.finish();
  std::optional<TimeBound> bound;
  if (knowledge.pulse_template) bound.emplace(*knowledge.pulse_template, knowledge.noise);
  return {std::string(row.name), std::move(ready.settings),
          [time_pulses = std::move(ready.time_pulses), bound](const ConditionedTrace& trace,
                                                              std::span<const Pulse> pulses) {
            std::vector<Stamp> stamps = time_pulses(trace, pulses);
            for (Stamp& stamp : stamps) {
              if (bound) stamp.bound_s = (*bound)(stamp.height_v);
            }
            return stamps;
          }};
}

std::vector<std::string> timing_method_names() {
  std::vector<std::string> names;
  for (const Row& row : method_table) names.emplace_back(row.name);
  return names;
}

}  // namespace firstedge
