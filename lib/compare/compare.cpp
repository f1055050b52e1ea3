#include "firstedge/compare/compare.hpp"

#include "firstedge/compare/compare_parts.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

std::size_t channel_named(const CandidateStamps& stamps, const std::string& name) {
  const auto& names = stamps.channels();
  const auto found = std::find(names.begin(), names.end(), name);
  if (found == names.end())
    throw Error(fmt::format("channel '{}'", name), "is not in the run",
                fmt::format("the run has {}", fmt::join(names, ", ")));
  return static_cast<std::size_t>(found - names.begin());
}

// How much there is to set up: nothing but the method, a filter, a method of its own for each channel.
int effort_of(const CandidateStamps& stamps, const Contender& each) {
  const Candidate &first = stamps.candidates()[each.of_first], &second = stamps.candidates()[each.of_second];
  if (kind_of(first) != kind_of(second)) return 2;
  return first.filtered() || second.filtered() ? 1 : 0;
}

// Puts the recommended contender first: the simplest that the one with the least spread does not beat, record
// by record, on the choosing half; of equally simple ones the narrowest. (In the spirit of the
// one-standard-error rule of L. Breiman et al., Classification and Regression Trees (1984), 3.4.3, from
// memory; at options.level, since the least of so many is too good by the choice.)
void recommend(Comparison& c, const CompareOptions& options) {
  const auto of = [&](const Contender& each) {
    return differences(c.stamps, c.ground, c.ground.choosing, each.of_first, each.of_second);
  };
  const std::vector<double> least = of(c.contenders.front());
  auto chosen = c.contenders.begin();
  for (auto each = chosen + 1; each != c.contenders.end(); ++each) {
    if (effort_of(c.stamps, *each) >= effort_of(c.stamps, *chosen)) continue;
    const ComparedSpreads both = compare_spreads({least, of(*each)}, options.level, options.bootstrap);
    if (!both.comparisons.front().first_is_better()) chosen = each;
  }
  std::rotate(c.contenders.begin(), chosen, chosen + 1);
}

double bound_of(const CandidateStamps& stamps, const CommonGround& ground) {
  double sum = 0;
  for (const std::size_t row : ground.judging)
    sum += std::pow(stamps.pulses(ground.first).bound_s[row], 2) +
           std::pow(stamps.pulses(ground.second).bound_s[row], 2);
  return std::sqrt(sum / static_cast<double>(ground.judging.size()));
}

// The candidates of this channel that a scan about `centre` runs over.
std::vector<std::size_t> along(const Comparison& c, const std::vector<std::size_t>& taking_part,
                               std::size_t centre, ScanAxis axis) {
  std::vector<std::size_t> line;
  const auto& candidates = c.stamps.candidates();
  std::copy_if(taking_part.begin(), taking_part.end(), std::back_inserter(line), [&](std::size_t i) {
    return differ_only_in(axis, candidates[i], candidates[centre]) &&
           std::isfinite(candidates[i].setting(axis));
  });
  return line;
}

void add_scan(Comparison& c, const std::vector<std::size_t>& rows, std::size_t centre, bool first,
              ScanAxis axis, const CompareOptions& options) {
  constexpr std::size_t fewest_points = 3;
  const std::vector<std::size_t>& taking_part = first ? c.ground.of_first : c.ground.of_second;
  const std::vector<std::size_t> line = along(c, taking_part, centre, axis);
  if (line.size() < fewest_points) return;
  const Contender& best = c.contenders.front();
  const auto column = [&](std::size_t i) {
    return differences(c.stamps, c.ground, rows, first ? i : best.of_first, first ? best.of_second : i);
  };
  std::vector<double> settings;
  std::vector<std::vector<double>> columns;
  for (const std::size_t i : line) {
    settings.push_back(c.stamps.candidates()[i].setting(axis));
    columns.push_back(column(i));
  }
  NamedScan named{.axis = axis,
                  .channel = first ? c.ground.first : c.ground.second,
                  .kind = kind_of(c.stamps.candidates()[centre]),
                  .scan = scan_of(settings, columns, options.near_best, options.bootstrap)};
  for (const std::size_t i : taking_part) {
    const Candidate& each = c.stamps.candidates()[i];
    if (axis == ScanAxis::cut && !each.filtered() &&
        differ_only_in(axis, each, c.stamps.candidates()[centre]))
      named.without_filter_s = RankedColumn(column(i)).half_width();
  }
  c.scans.push_back(std::move(named));
}

// Of each method its better contender, filtered or not, is scanned along every setting that it has.
void add_scans(Comparison& c, const CompareOptions& options) {
  std::vector<std::size_t> rows = c.ground.choosing;
  rows.insert(rows.end(), c.ground.judging.begin(), c.ground.judging.end());
  std::sort(rows.begin(), rows.end());
  std::vector<std::string> done;
  for (const Contender& each : c.contenders) {
    const std::string kind = kind_of(c.stamps.candidates()[each.of_first]);
    if (std::find(done.begin(), done.end(), kind) != done.end()) continue;
    if (kind_of(c.stamps.candidates()[each.of_second]) != kind) continue;
    done.push_back(kind);
    for (const ScanAxis axis : scan_axes) {
      for (const bool first : {true, false})
        add_scan(c, rows, first ? each.of_first : each.of_second, first, axis, options);
    }
  }
}

AmplifierSide side_of(const CandidateStamps& stamps, std::size_t channel, std::size_t candidate) {
  const PulseRows& pulses = stamps.pulses(channel);
  AmplifierSide side{.channel = stamps.channels()[channel],
                     .height_v = pulses.height_v,
                     .uncertainty_s = stamps.column(channel, candidate).uncertainty_s};
  for (std::size_t row = 0; row < pulses.flags.size(); ++row) {
    side.clipped.push_back(pulses.flags[row].has(Flag::clipped) ? 1 : 0);
    side.transition_s.push_back(
        pulses.flags[row].without(doubts_of_uncertainty).empty() ? pulses.transition_s[row] : nan);
  }
  return side;
}

// The constant fraction at half the height, unfiltered: the time that means the same on pulses of any shape.
std::size_t half_height_candidate(const CandidateStamps& stamps, std::size_t otherwise) {
  const auto& candidates = stamps.candidates();
  const auto found = std::find_if(candidates.begin(), candidates.end(), [](const Candidate& c) {
    return c.method == "constant_fraction" && c.fraction == 0.5 && !c.filtered();
  });
  return found == candidates.end() ? otherwise : static_cast<std::size_t>(found - candidates.begin());
}

AmplifierInput amplifier_input(const Comparison& c, const AmplifierRecords& records) {
  const std::size_t bare = channel_named(c.stamps, records.bare),
                    high = channel_named(c.stamps, records.amplified);
  const Contender& best = c.contenders.front();
  const auto chosen = [&](std::size_t channel) {
    return channel == c.ground.first ? best.of_first : best.of_second;
  };
  AmplifierInput input{.bare = side_of(c.stamps, bare, chosen(bare)),
                       .amplified = side_of(c.stamps, high, chosen(high))};
  input.bare.noise_v = records.bare_noise_v;
  input.amplified.noise_v = records.amplified_noise_v;
  input.bare.signal = records.bare_signal;
  input.bare.noise = records.bare_noise;
  input.amplified.signal = records.amplified_signal;
  input.amplified.noise = records.amplified_noise;
  const auto difference = [&](std::size_t of_bare, std::size_t of_amplified) {
    std::vector<double> values;
    for (std::size_t row = 0; row < c.stamps.records().size(); ++row)
      values.push_back(c.stamps.column(high, of_amplified).time_s[row] -
                       c.stamps.column(bare, of_bare).time_s[row]);
    return values;
  };
  const std::size_t half_bare = half_height_candidate(c.stamps, chosen(bare)),
                    half_high = half_height_candidate(c.stamps, chosen(high));
  input.delay_s = difference(half_bare, half_high);
  input.difference_s = difference(chosen(bare), chosen(high));
  return input;
}

std::string amplifier_answer(const Amplification& found) {
  std::string text =
      fmt::format("{} at equal signal ({}) the noise makes {} bare and {} amplified",
                  found.pays_below_v.value == 0 ? "; the amplifier does not pay:" : "; the amplifier:",
                  format_quantity(found.typical_signal_v, "V", 3), format_estimate(found.bare_spread_s, "s"),
                  format_estimate(found.amplified_spread_s, "s"));
  if (found.pays_below_v.value > 0 && std::isfinite(found.pays_below_v.value))
    text += fmt::format(", so that it pays below {}", format_estimate(found.pays_below_v, "V"));
  if (std::isfinite(found.amplified_saturates_v))
    text += fmt::format(", and it saturates above {} ({:.1f} % of its pulses are clipped)",
                        format_quantity(found.amplified_saturates_v, "V", 3),
                        100 * found.amplified_clipped.value);
  return text;
}

void add_amplifier(Result& result, const Comparison& c, const AmplifierRecords& records,
                   const CompareOptions& options) {
  const AmplifierInput input = amplifier_input(c, records);
  const Amplification found = amplification_of(input, options.bootstrap);
  result.answer += amplifier_answer(found);
  std::vector<Figure> figures{
      {"gain", "Gain", found.gain, ""},
      {"height_correlation", "Rank correlation of the heights", {found.height_correlation, nan}, ""},
      {"bare_noise", "Noise, bare", found.bare_noise_v, "V"},
      {"amplified_noise", "Noise, amplified", found.amplified_noise_v, "V"},
      {"referred_noise", "Noise of the amplified channel at the input", found.referred_noise_v, "V"},
      {"noise_ratio", "Noise at the input, amplified over bare", found.noise_ratio, ""},
      {"bare_transition", "Transition duration, bare", found.bare_transition_s, "s"},
      {"amplified_transition", "Transition duration, amplified", found.amplified_transition_s, "s"},
      {"band_by_transition", "Band of the amplifier by transition durations", found.band_by_transition_hz,
       "Hz"},
      {"band_by_spectra", "Band of the amplifier by signal spectra", found.band_by_spectra_hz, "Hz"},
      {"bare_spread", "Spread by noise at the median signal, bare", found.bare_spread_s, "s"},
      {"amplified_spread", "Spread by noise at the median signal, amplified", found.amplified_spread_s, "s"},
      {"rest", "Rest of one channel without noise", found.rest_s, "s"},
      {"pays_below", "The amplifier pays below", found.pays_below_v, "V"},
      {"saturates_above", "The amplified channel saturates above", {found.amplified_saturates_v, nan}, "V"},
      {"bare_clipped", "Share clipped, bare", found.bare_clipped, ""},
      {"amplified_clipped", "Share clipped, amplified", found.amplified_clipped, ""},
      {"added_delay", "Added delay, amplified less bare", found.added_delay_s, "s"}};
  if (std::isfinite(found.added_noise_v.value))
    figures.push_back(
        {"added_noise", "Noise that the amplifier adds at its output", found.added_noise_v, "V"});
  result.figures.insert(result.figures.end(), figures.begin(), figures.end());
  result.tables.push_back(amplifier_table(found));
  result.plots.push_back(amplifier_plot(found));
  result.plots.push_back(saturation_plot(found, input));
  if (!found.one_signal())
    result.cautions.emplace_back(
        "Gain and all that is referred to the input take the two sensors as equal: a sensor "
        "that collects more charge looks like gain.");
  result.cautions.emplace_back(
      "The added delay holds everything that the two channels do not share: amplifier, cables, "
      "sensor positions, digitizer inputs. Swap the cables to tell them apart.");
  result.cautions.emplace_back(
      "Spreads at equal signal rest on the stated uncertainties; the pulls of firstedge-jitter "
      "say whether these hold.");
}

// "it beats a and b; the 3 others are not told apart from it".
std::string standing_of_best(const Comparison& c) {
  std::vector<std::string> beaten, open;
  for (const SpreadComparison& pair : c.judged.comparisons) {
    if (pair.first == 0) (pair.first_is_better() ? beaten : open).push_back(c.contenders[pair.second].name);
  }
  std::string text;
  if (!beaten.empty()) text += fmt::format("; it beats {}", fmt::join(beaten, " and "));
  if (open.size() == 1) text += fmt::format("; {} is not told apart from it", open.front());
  if (open.size() > 1)
    text += fmt::format("; the {}{} are not told apart from it", open.size(),
                        beaten.empty() ? " other methods" : " others");
  return text;
}

std::string answer_of(const Comparison& c) {
  const Contender& best = c.contenders.front();
  const auto named = [&](std::size_t candidate) { return name_of(c.stamps.candidates()[candidate]); };
  const std::string choice =
      best.of_first == best.of_second
          ? named(best.of_first) + " on both channels"
          : fmt::format("{} on {} and {} on {}", named(best.of_first), c.stamps.channels()[c.ground.first],
                        named(best.of_second), c.stamps.channels()[c.ground.second]);
  std::string text = fmt::format("Use {}: spread {} on records it was not chosen on", choice,
                                 format_estimate(c.judged.half_width.front(), "s"));
  if (c.bound_s > 0)
    text += fmt::format(", where the noise alone allows {}", format_quantity(c.bound_s, "s", 3));
  return text + standing_of_best(c);
}

void add_warnings(Result& result, const Comparison& c) {
  const std::size_t common = c.ground.choosing.size() + c.ground.judging.size();
  constexpr double few = 0.8;
  if (static_cast<double>(common) < few * static_cast<double>(c.ground.with_both))
    result.warnings.push_back(
        fmt::format("Only {} of {} usable records can be used by every candidate that takes part; "
                    "the comparison is of the easier pulses.",
                    common, c.ground.with_both));
  for (const NamedScan& each : c.scans) {
    const bool no_filter =
        each.without_filter_s && *each.without_filter_s <= each.scan.spread_s[each.scan.best].value;
    if (each.scan.at_end && !no_filter &&
        each.kind == kind_of(c.stamps.candidates()[c.contenders.front().of_first]))
      result.warnings.push_back(
          fmt::format("{}, {}: the best {} is at the end of the scan; there may be a better one "
                      "beyond.",
                      c.stamps.channels()[each.channel], each.kind, label_of(each.axis)));
  }
}

}  // namespace

Result analyse_comparison(const CandidateStamps& stamps, const CompareOptions& options,
                          const std::optional<AmplifierRecords>& amplifier) {
  const std::size_t first = channel_named(stamps, options.first),
                    second = channel_named(stamps, options.second);
  if (first == second)
    throw Error(fmt::format("channel '{}'", options.first), "is paired with itself",
                "give two different channels");
  Comparison c{.stamps = stamps, .ground = common_ground(stamps, first, second, options.fewest_share)};
  c.contenders = choose_contenders(stamps, c.ground);
  Result result{.kind = "comparison",
                .title = fmt::format("Methods compared on {} − {}", options.first, options.second)};
  if (c.contenders.empty()) {
    result.answer = fmt::format("{} records can be used by all candidates, too few to choose and to judge.",
                                c.ground.choosing.size() + c.ground.judging.size());
    result.tables = {candidates_table(c), counts_table(c)};
    return result;
  }
  recommend(c, options);
  std::vector<std::vector<double>> columns;
  for (const Contender& each : c.contenders)
    columns.push_back(differences(stamps, c.ground, c.ground.judging, each.of_first, each.of_second));
  c.judged = compare_spreads(columns, options.level, options.bootstrap);
  c.bound_s = bound_of(stamps, c.ground);
  add_scans(c, options);

  result.answer = answer_of(c);
  result.figures = {
      {"spread", "Spread of the best choice, judged", c.judged.half_width.front(), "s"},
      {"standard_deviation", "Its standard deviation", c.judged.deviation.front(), "s"},
      {"bound", "Cramér-Rao bound of the noise, both channels", {c.bound_s, nan}, "s"},
      {"records_judged", "Records judged", {static_cast<double>(c.ground.judging.size()), nan}, ""}};
  result.tables = {methods_table(c), differences_table(c, options.level)};
  result.plots.push_back(methods_plot(c));
  if (amplifier) add_amplifier(result, c, *amplifier, options);
  result.answer += ".";
  result.tables.push_back(scans_table(c, options.near_best));
  for (Plot& plot : scan_plots(c, options.near_best)) result.plots.push_back(std::move(plot));
  result.tables.push_back(candidates_table(c));
  result.tables.push_back(counts_table(c));
  add_warnings(result, c);
  result.cautions.emplace_back(
      "The bound is of the noise alone; a spread above it holds what the sensors themselves add, "
      "which no method takes away.");
  result.cautions.emplace_back(
      "Thresholds, delays and corners are given relative to each channel's own pulses; the table "
      "of methods has them in V, s and Hz.");
  return result;
}

}  // namespace firstedge
