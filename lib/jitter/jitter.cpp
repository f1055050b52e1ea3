#include "firstedge/jitter/jitter.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/jitter/jitter_tables.hpp"
#include "firstedge/jitter/over_time_shown.hpp"
#include "firstedge/jitter/pair_figures.hpp"
#include "firstedge/jitter/pairs.hpp"
#include "firstedge/jitter/sensors.hpp"
#include "firstedge/stats/height_dependence.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

using IndexPair = std::pair<std::size_t, std::size_t>;

// Plots are made for this many pairs; the tables hold all.
constexpr std::size_t most_plotted_pairs = 6;

std::size_t position_of(const std::vector<std::string>& names, const std::string& name,
                        const std::string& what) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found == names.end())
    throw Error("jitter", fmt::format("the stamps have no {} '{}'", what, name),
                fmt::format("choose from: {}", fmt::join(names, ", ")));
  return static_cast<std::size_t>(found - names.begin());
}

std::vector<IndexPair> chosen_pairs(const JitterStamps& stamps, const JitterOptions& options) {
  const std::vector<std::string>& names = stamps.channels();
  if (names.size() < 2)
    throw Error("jitter", "the stamps are of one channel", "record a second channel to compare it with");
  std::vector<IndexPair> pairs;
  for (const auto& [first, second] : options.pairs) {
    pairs.emplace_back(position_of(names, first, "channel"), position_of(names, second, "channel"));
    if (pairs.back().first == pairs.back().second)
      throw Error("jitter", fmt::format("channel '{}' is paired with itself", first),
                  "give two different channels");
  }
  if (!options.pairs.empty()) return pairs;
  constexpr std::size_t most_channels = 32;
  if (names.size() > most_channels)
    throw Error("jitter", fmt::format("{} channels make too many pairs", names.size()),
                "say which pairs are wanted");
  for (std::size_t i = 0; i < names.size(); ++i) {
    for (std::size_t j = i + 1; j < names.size(); ++j) pairs.emplace_back(i, j);
  }
  return pairs;
}

std::vector<std::size_t> channels_of(const std::vector<IndexPair>& pairs) {
  std::vector<std::size_t> channels;
  for (const auto& [first, second] : pairs) {
    channels.push_back(first);
    channels.push_back(second);
  }
  std::sort(channels.begin(), channels.end());
  channels.erase(std::unique(channels.begin(), channels.end()), channels.end());
  return channels;
}

StampChoice choice_of(const JitterOptions& options) {
  if (!(options.lowest_height_v < options.highest_height_v))
    throw Error("jitter",
                fmt::format("the heights from {} to {} V hold nothing", options.lowest_height_v,
                            options.highest_height_v),
                "give the lower end first");
  return {options.allowed_flags | doubts_of_uncertainty, options.lowest_height_v, options.highest_height_v};
}

// The figures of one method on every pair.
struct MethodTried {
  std::size_t method = 0;
  std::vector<PairSample> samples;
  std::vector<PairFigures> figures;

  std::uint64_t used() const {
    std::uint64_t sum = 0;
    for (const PairSample& sample : samples) sum += sample.account.used;
    return sum;
  }
  // Root mean square of the pairs' central half widths.
  double width() const {
    double sum = 0;
    for (const PairFigures& found : figures) sum += found.half_width.value * found.half_width.value;
    return std::sqrt(sum / static_cast<double>(figures.size()));
  }
};

std::vector<MethodTried> try_methods(const JitterStamps& stamps, const std::vector<IndexPair>& pairs,
                                     const JitterOptions& options) {
  const StampChoice choice = choice_of(options);
  std::vector<MethodTried> tried;
  for (std::size_t method = 0; method < stamps.methods().size(); ++method) {
    tried.push_back({.method = method});
    for (const auto& [first, second] : pairs) {
      tried.back().samples.push_back(pair_sample(stamps, method, first, second, choice));
      tried.back().figures.push_back(
          pair_figures(tried.back().samples.back(), options.core, options.bootstrap));
    }
  }
  return tried;
}

// The method asked for; else the narrowest among those that use nearly as many pairs as the one that uses
// most.
std::size_t chosen_method(const JitterStamps& stamps, const std::vector<MethodTried>& tried,
                          const JitterOptions& options) {
  if (!options.method.empty()) return position_of(stamps.methods(), options.method, "method");
  constexpr double nearly_as_many = 0.9;
  std::uint64_t most = 0;
  for (const MethodTried& method : tried) most = std::max(most, method.used());
  std::size_t best = 0;
  double narrowest = std::numeric_limits<double>::infinity();
  for (const MethodTried& method : tried) {
    if (static_cast<double>(method.used()) < nearly_as_many * static_cast<double>(most)) continue;
    if (method.width() < narrowest) {
      narrowest = method.width();
      best = method.method;
    }
  }
  return best;
}

void add_figures(Result& result, const JudgedPair& pair) {
  const PairFigures& found = pair.figures;
  const std::string& name = pair.sample.name;
  const double unknown = std::numeric_limits<double>::quiet_NaN();
  result.figures = {
      {"pairs_used", "Pairs used, " + name, {static_cast<double>(found.pairs), unknown}, ""},
      {"mean", "Mean difference", found.mean, "s"},
      {"standard_deviation", "Standard deviation", found.deviation, "s"},
      {"central_half_width", "Central half width (68.3 %)", found.half_width, "s"},
      {"core_width", "Gaussian core width", found.core_width, "s"},
      {"core_fraction", "Fraction in the Gaussian core", found.core_fraction, ""},
      {"beyond_3", "Share beyond 3 core widths", found.beyond_3, ""},
      {"bound", "Cramér-Rao bound of the spread", {found.bound_s, unknown}, "s"},
      {"stated", "Stated uncertainty of a difference", {found.stated_s, unknown}, "s"},
      {"deviation_over_bound", "Standard deviation over bound", found.deviation_over_bound, ""},
      {"half_width_over_bound", "Width over bound, pair by pair", found.half_width_over_bound, ""},
      {"pulls_within_1", "Share of pulls within 1", found.pulls_within_1, ""}};
}

// lower case, letters and digits, '_' for the rest.
std::string key_from(const std::string& name) {
  std::string key;
  for (const char c : name) {
    const bool upper = c >= 'A' && c <= 'Z';
    const bool plain = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
    key += upper ? static_cast<char>(c - 'A' + 'a') : plain ? c : '_';
  }
  return key;
}

void add_sensors(Result& result, const JitterStamps& stamps, const std::vector<std::size_t>& channels,
                 std::size_t method, const JitterOptions& options) {
  if (channels.size() > most_sensors) {
    result.warnings.push_back(
        fmt::format("{} channels are too many to tell their resolutions apart at once; choose pairs of at "
                    "most {}.",
                    channels.size(), most_sensors));
    return;
  }
  const auto times = common_times(stamps, method, channels, choice_of(options));
  if (times.front().size() < fewest_pairs) {
    result.warnings.push_back(
        fmt::format("Only {} records have all channels usable: no resolution of each "
                    "sensor.",
                    times.front().size()));
    return;
  }
  const SensorResolutions found = sensor_resolutions(times, options.core, options.bootstrap);
  std::vector<std::string> names;
  for (const std::size_t channel : channels) names.push_back(stamps.channels()[channel]);
  result.tables.push_back(sensors_table(names, found));
  for (std::size_t i = 0; i < names.size(); ++i) {
    result.figures.push_back({fmt::format("resolution_{}_{}", channels[i] + 1, key_from(names[i])),
                              "Resolution of " + names[i], found.by_core.resolution[i], "s"});
    const Estimate& variance = found.by_core.variance[i];
    if (std::isnan(variance.value))
      result.warnings.push_back(names[i] + ": no resolution, since a pair has no sound Gaussian core.");
    else if (variance.value <= 0)
      result.warnings.push_back(fmt::format(
          "The variance found for {} is {}, not positive: its resolution is too good to be told beside the "
          "others, or the channels' errors are not independent.",
          names[i], format_estimate(variance, "s^2")));
  }
  if (found.by_core.degrees_of_freedom > 0 && found.by_core.probability < 1e-3)
    result.warnings.push_back(
        fmt::format("One variance a sensor does not describe all pairs (probability "
                    "{:.2g}): some channels share an error.",
                    found.by_core.probability));
}

// What moves along the run; none where no pair has enough records, or none is wanted.
struct AlongTheRun {
  RunClock clock;
  std::vector<PairOverTime> pairs;

  const PairOverTime* of(const std::string& name) const {
    const auto found =
        std::find_if(pairs.begin(), pairs.end(), [&](const PairOverTime& pair) { return pair.name == name; });
    return found == pairs.end() ? nullptr : &*found;
  }
};

AlongTheRun along_the_run(const JitterStamps& stamps, const std::vector<PairSample>& samples,
                          const OverTimeOptions& options) {
  AlongTheRun run{.clock = RunClock(stamps, samples), .pairs = {}};
  if (options.most_blocks == 0) return run;
  for (const PairSample& sample : samples) {
    if (sample.size() < options.fewest_pairs) continue;
    OverTime found = over_time(sample, run.clock, options);
    if (found.blocks.size() > 0) run.pairs.push_back({sample.name, std::move(found)});
  }
  return run;
}

void add_over_time(Result& result, const AlongTheRun& run, double coverage) {
  if (run.pairs.empty()) return;
  result.tables.push_back(blocks_table(run.clock, run.pairs));
  result.tables.push_back(course_table(run.clock, run.pairs));
  result.tables.push_back(time_deviations_table(run.clock, run.pairs, coverage));
  result.tables.push_back(allan_deviations_table(run.clock, run.pairs, coverage));
  for (const auto& [name, found] : run.pairs) {
    for (const std::string& sentence : words_of_course(run.clock, found))
      result.warnings.push_back(fmt::format("{}: along the run {}", name, sentence));
    if (2 * found.blocks.filled() < found.blocks.size())
      result.cautions.push_back(fmt::format(
          "{}: {} of {} blocks of the run are empty; the time deviation has few terms at long times.", name,
          found.blocks.size() - found.blocks.filled(), found.blocks.size()));
  }
  if (!run.clock.refusal().empty())
    result.cautions.push_back("The triggers' instants are not used over time, since " + run.clock.refusal() +
                              ": records are taken as evenly spaced.");
}

void add_plots(Result& result, const std::vector<JudgedPair>& pairs, const AlongTheRun& run,
               const JitterOptions& options) {
  std::size_t number = 0;
  for (const JudgedPair& pair : pairs) {
    if (pair.sample.size() < fewest_pairs) continue;
    if (++number > most_plotted_pairs) {
      result.cautions.emplace_back(
          fmt::format("Plots are shown of the first {} pairs; the tables hold all.", most_plotted_pairs));
      break;
    }
    result.plots.push_back(difference_plot(pair, options.bins, number));
    result.plots.push_back(normal_plot(pair, number));
    if (pair.heights.bins.size() >= 2) {
      result.plots.push_back(height_plot(pair, number));
      result.plots.push_back(walk_plot(pair, number));
    }
    if (pair.figures.with_stated > 0) result.plots.push_back(pull_plot(pair, number));
    if (const PairOverTime* over_time = run.of(pair.sample.name)) {
      result.plots.push_back(course_plot(run.clock, *over_time, number));
      result.plots.push_back(time_deviation_plot(run.clock, *over_time, number));
      result.plots.push_back(allan_deviation_plot(run.clock, *over_time, number));
    } else {
      result.plots.push_back(drift_plot(pair, number));
    }
  }
}

void add_warnings(Result& result, const JudgedPair& pair) {
  const PairFigures& found = pair.figures;
  const std::string& name = pair.sample.name;
  const auto warn = [&](const std::string& text) { result.warnings.push_back(name + ": " + text); };
  if (found.pairs < fewest_pairs) {
    warn(fmt::format("{} usable pairs, fewer than {}; the table of counts tells why.", found.pairs,
                     fewest_pairs));
    return;
  }
  if (found.core.outcome != GaussianCore::Outcome::found)
    warn(fmt::format("no sound Gaussian core ({}).", words_of(found.core.outcome)));
  constexpr double clear = 5;
  if (found.drift_significance > clear)
    warn(
        fmt::format("neighbouring records are more alike than distant ones: the delay drifts. Without the "
                    "drift the standard deviation would be {}.",
                    format_quantity(found.short_term_s, "s")));
  const Estimate& share = found.pulls_within_1;
  constexpr double normal_share = 0.6827;
  if (std::abs(share.value - normal_share) > std::max(clear * share.uncertainty, 0.03))
    warn(fmt::format(
        "{:.1f} % of the differences lie within one stated uncertainty, not 68.3 %: the "
        "stated uncertainties are too {}.",
        100 * share.value,
        share.value < normal_share ? "small, or the spread holds more than noise (the sensors' own, a drift)"
                                   : "large"));
  if (found.deviation_over_bound.value < 1 - clear * found.deviation_over_bound.uncertainty)
    warn(
        "the spread lies below the Cramér-Rao bound: the noise or the shape behind the bound is wrong, or "
        "both channels share their noise.");
}

std::string answer_of(const JudgedPair& pair, const std::string& method, bool chosen_here) {
  const PairFigures& found = pair.figures;
  if (found.pairs < fewest_pairs)
    return fmt::format("{}: {} usable pairs, too few for a spread.", pair.sample.name, found.pairs);
  const Estimate percent{100 * found.core_fraction.value, 100 * found.core_fraction.uncertainty};
  std::string text = fmt::format(
      "{} by {}{}: Gaussian core of width {} with {} of {} pairs, standard deviation {}", pair.sample.name,
      method, chosen_here ? " (the narrowest)" : "", format_estimate(found.core_width, "s"),
      format_estimate(percent, "%"), found.pairs, format_estimate(found.deviation, "s"));
  if (found.bound_s > 0)
    text += fmt::format(", {} times the Cramér-Rao bound of {}",
                        format_estimate(found.deviation_over_bound, ""), format_quantity(found.bound_s, "s"));
  return text + ".";
}

}  // namespace

Result analyse_jitter(JitterStamps stamps, const JitterOptions& options) {
  stamps.settle();
  const std::vector<IndexPair> index_pairs = chosen_pairs(stamps, options);
  std::vector<MethodTried> tried = try_methods(stamps, index_pairs, options);
  const std::size_t method = chosen_method(stamps, tried, options);

  std::vector<MethodOnPair> compared;
  for (const MethodTried& each : tried) {
    for (std::size_t p = 0; p < each.samples.size(); ++p)
      compared.push_back(
          {stamps.methods()[each.method], each.samples[p].name, each.samples[p].account, each.figures[p]});
  }
  const AlongTheRun run = along_the_run(stamps, tried[method].samples, options.over_time);
  std::vector<JudgedPair> pairs;
  for (std::size_t p = 0; p < index_pairs.size(); ++p) {
    PairSample& sample = tried[method].samples[p];
    HeightDependence heights = height_dependence({sample.difference_s, sample.lower_height_v, sample.bound_s},
                                                 options.height_bins, options.bootstrap);
    pairs.push_back({std::move(sample), tried[method].figures[p], std::move(heights)});
  }

  Result result{.kind = "jitter", .title = "Jitter by " + stamps.methods()[method]};
  result.answer = answer_of(pairs.front(), stamps.methods()[method],
                            options.method.empty() && stamps.methods().size() > 1);
  add_figures(result, pairs.front());
  result.tables.push_back(pairs_table(pairs));
  result.tables.push_back(bounds_table(pairs));
  const std::vector<std::size_t> channels = channels_of(index_pairs);
  if (channels.size() == 2) {
    result.tables.push_back(shared_equally_table(stamps, pairs.front()));
  } else {
    add_sensors(result, stamps, channels, method, options);
  }
  if (stamps.methods().size() > 1) result.tables.push_back(methods_table(compared));
  add_over_time(result, run, options.over_time.coverage);
  result.tables.push_back(heights_table(pairs));
  result.tables.push_back(height_laws_table(pairs));
  result.tables.push_back(intervals_table(pairs, options.bootstrap.coverage));
  result.tables.push_back(counts_table(stamps, pairs));
  add_plots(result, pairs, run, options);
  for (const JudgedPair& pair : pairs) add_warnings(result, pair);
  result.cautions.emplace_back(
      "Bootstrap uncertainties take records as independent of each other; a drift makes them too small.");
  result.cautions.emplace_back(
      "A difference tells the two channels together; what both share (the trigger, the clock) drops out.");
  return result;
}

}  // namespace firstedge
