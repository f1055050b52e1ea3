#include "firstedge/amplitude/amplitude.hpp"

#include "firstedge/amplitude/channel_spectrum.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <set>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double count(std::uint64_t number) {
  return static_cast<double>(number);
}

void check(const AmplitudePulses& pulses, const AmplitudeOptions& options) {
  const auto known = [&](const std::string& channel, const std::string& what) {
    const auto& names = pulses.channels();
    if (std::find(names.begin(), names.end(), channel) == names.end())
      throw Error("amplitude spectra", fmt::format("{} of a channel '{}' without pulses", what, channel),
                  fmt::format("choose from: {}", fmt::join(names, ", ")));
  };
  for (const Pedestal& pedestal : options.pedestals) known(pedestal.channel, "a pedestal");
  for (const ChannelSpectra& spectra : options.spectra) known(spectra.channel, "a frequency spectrum");
  const auto range = [](std::optional<double> low, std::optional<double> high, const std::string& what) {
    if (low && high && !(*low < *high))
      throw Error("amplitude spectra", fmt::format("the {} from {} to {} hold nothing", what, *low, *high),
                  "give the lower end first");
  };
  range(options.lowest_height_v, options.highest_height_v, "heights (V)");
  range(options.lowest_charge_c, options.highest_charge_c, "charges (C)");
}

Table channels_table(const std::vector<ChannelSpectrum>& channels) {
  Table table{.key = "channels",
              .title = "Pulses, baseline and pedestal of each channel",
              .note =
                  "Pedestal: what is measured without a pulse; where no such measurement was given, 0 "
                  "with the median noise of a sample (heights only). Signal-to-noise: most probable "
                  "value less pedestal, over the pedestal's standard deviation.",
              .columns = {{"channel", "Channel", ""},
                          {"pulses", "Pulses shown", ""},
                          {"clipped_share", "Share clipped", ""},
                          {"baseline", "Baseline, mean", "V"},
                          {"baseline_deviation", "Baseline, standard deviation", "V"},
                          {"pedestal", "Height pedestal", "V"},
                          {"noise", "Its standard deviation", "V"},
                          {"signal_to_noise", "Signal-to-noise (height)", ""},
                          {"charge_pedestal", "Charge pedestal", "C"},
                          {"charge_noise", "Its standard deviation", "C"},
                          {"charge_signal_to_noise", "Signal-to-noise (charge)", ""}}};
  for (const ChannelSpectrum& channel : channels)
    table.rows.push_back(Row{channel.channel, count(channel.shown), share_of(channel.clipped, channel.shown),
                             channel.baseline_v.mean, channel.baseline_v.deviation, channel.height.level,
                             channel.height.noise, channel.height.signal_to_noise, channel.charge.level,
                             channel.charge.noise, channel.charge.signal_to_noise});
  return table;
}

Table fits_table(const std::vector<ChannelSpectrum>& channels, const std::string& key,
                 const std::string& title, const std::string& unit,
                 const QuantitySpectrum& (*quantity)(const ChannelSpectrum&)) {
  Table table{.key = key,
              .title = title,
              .note =
                  "Landau blurred by a normal distribution, maximum likelihood over the pulses in the "
                  "range, the curve being cut there. Most probable value: of the Landau part; the peak of "
                  "the blurred curve lies above it.",
              .columns = {{"channel", "Channel", ""},
                          {"most_probable", "Most probable value", unit},
                          {"landau_width", "Landau width", unit},
                          {"gaussian_width", "Gaussian width", unit},
                          {"peak", "Peak of the curve", unit},
                          {"pulses", "Pulses under the curve", ""},
                          {"low", "Fitted from", unit},
                          {"high", "to", unit},
                          {"inside", "Pulses fitted", ""},
                          {"probability", "Probability of a larger χ²", ""},
                          {"outcome", "Fit", ""}}};
  for (const ChannelSpectrum& channel : channels) {
    const LandauGaussianFit& fit = quantity(channel).fit;
    table.rows.push_back(Row{channel.channel, fit.most_probable, fit.landau_width, fit.gaussian_width,
                             fit.peak, fit.pulses, fit.low, std::isinf(fit.high) ? nan : fit.high,
                             count(fit.inside), fit.probability, std::string(words_of(fit.outcome))});
  }
  return table;
}

Table counts_table(const std::vector<ChannelSpectrum>& channels) {
  Table table{.key = "counts",
              .title = "What became of the pulses",
              .note = "A pulse may carry several flags. What did not occur is not listed.",
              .columns = {{"channel", "Channel", ""}, {"what", "Pulses", ""}, {"count", "Number", ""}}};
  for (const ChannelSpectrum& channel : channels) {
    const auto tell = [&](std::string what, std::uint64_t number) {
      table.rows.push_back(Row{channel.channel, std::move(what), count(number)});
    };
    const auto tell_any = [&](std::string what, std::uint64_t number) {
      if (number > 0) tell(std::move(what), number);
    };
    tell_any("stamps without a pulse", channel.without_pulse);
    tell("pulses", channel.total);
    tell_any("left out: flagged", channel.flagged);
    for (std::size_t i = 0; i < flag_table.size(); ++i)
      tell_any(fmt::format("  of these {}", flag_table.at(i).name), channel.by_flag.at(i));
    tell("shown", channel.shown);
    tell_any("  of these clipped", channel.clipped);
    tell_any("  of these without a height", channel.height.not_known);
    tell_any("  of these without a charge", channel.charge.not_known);
    tell_any("heights below the fitted range", channel.height.fit.below);
    tell_any("heights above the fitted range", channel.height.fit.above);
    tell_any("charges below the fitted range", channel.charge.fit.below);
    tell_any("charges above the fitted range", channel.charge.fit.above);
  }
  return table;
}

struct Axis {
  std::string key, name, unit;
};

Series bars_of(std::string label, const Histogram& counts) {
  return {.label = std::move(label),
          .kind = Series::Kind::bars,
          .x = counts.middles(),
          .y = counts.heights(),
          .y_uncertainty = counts.height_uncertainties()};
}

// The bars lowered or raised to the height of others, whose count of entries is another.
Series as_high_as(const Series& others, Series bars) {
  const auto highest = [](const Series& series) {
    return series.y.empty() ? 0 : *std::max_element(series.y.begin(), series.y.end());
  };
  const double factor = highest(bars) > 0 ? highest(others) / highest(bars) : 1;
  for (double& y : bars.y) y *= factor;
  for (double& uncertainty : bars.y_uncertainty) uncertainty *= factor;
  return bars;
}

// From 0 (or the pedestal) to where one pulse in a hundred lies beyond; Landau's tail would make the bins of
// the whole range too coarse for the peak.
std::vector<double> shown_edges(const QuantitySpectrum& found, const std::vector<double>& pedestal,
                                BinOptions bins) {
  std::vector<double> all = found.values;
  all.insert(all.end(), found.clipped_values.begin(), found.clipped_values.end());
  const std::vector<double> sorted = finite_sorted(all);
  if (sorted.empty()) return even_edges(0, 1, 1);
  const std::vector<double> low = finite_sorted(pedestal);
  if (!bins.low)
    bins.low = std::min({0.0, quantile_of_sorted(sorted, 0.01), low.empty() ? 0.0 : low.front()});
  if (!bins.high) {
    constexpr double widest = 1.5;  // clipped heights pile up at the limit, clipped charges reach far
    const double most = quantile_of_sorted(sorted, 0.99);
    const double reach = found.clipped_values.empty() ? 1.05 : widest;
    bins.high = most > 0 ? std::min(sorted.back(), reach * most) : sorted.back();
  }
  if (!(*bins.low < *bins.high)) bins.high.reset();
  return edges_for(all, bins);
}

Plot quantity_plot(const ChannelSpectrum& channel, const QuantitySpectrum& found, const Axis& axis,
                   const std::vector<double>& pedestal, const BinOptions& bins, std::size_t number) {
  const std::vector<double> edges = shown_edges(found, pedestal, bins);
  const Histogram counts = histogram(found.values, edges);
  Plot plot{
      .key = fmt::format("{}_{}", axis.key, number),
      .title = fmt::format("{} spectrum, {}", axis.name, channel.channel),
      .caption = fmt::format("Look for: one peak clear of the pedestal and of the threshold; a pile at the "
                             "right end is clipping, a second peak is a second population. {} pulses lie "
                             "below and {} above the range shown.",
                             counts.below, counts.above),
      .x = {axis.name, axis.unit},
      .y = {"Pulses in a bin", ""}};
  plot.series.push_back(bars_of("pulses", counts));
  if (!found.clipped_values.empty())
    plot.series.push_back(bars_of("clipped pulses", histogram(found.clipped_values, edges)));
  if (!pedestal.empty())
    plot.series.push_back(as_high_as(plot.series.front(),
                                     bars_of("pedestal, as high as the pulses", histogram(pedestal, edges))));
  if (found.fit.usable()) {
    Series curve{.label = "Landau blurred by a normal curve", .kind = Series::Kind::line};
    constexpr int points = 300;
    for (int i = 0; i <= points; ++i) {
      const double x = std::lerp(edges.front(), edges.back(), static_cast<double>(i) / points);
      curve.x.push_back(x);
      curve.y.push_back(found.fit.pulses.value * counts.width(0) *
                        landau_gaussian_density(x, found.fit.curve()));
    }
    plot.series.push_back(std::move(curve));
    plot.markers.push_back({found.fit.most_probable.value, true, "most probable"});
    if (std::isfinite(found.fit.low)) plot.markers.push_back({found.fit.low, true, "fitted from"});
    if (std::isfinite(found.fit.high)) plot.markers.push_back({found.fit.high, true, "fitted to"});
  }
  return plot;
}

void add_plots(Result& result, const ChannelSpectrum& channel, const AmplitudeOptions& options,
               std::size_t number) {
  const auto pedestal = std::find_if(options.pedestals.begin(), options.pedestals.end(),
                                     [&](const Pedestal& each) { return each.channel == channel.channel; });
  const Pedestal none;
  const Pedestal& given = pedestal == options.pedestals.end() ? none : *pedestal;
  const auto has = [](const QuantitySpectrum& found) {
    return !found.values.empty() || !found.clipped_values.empty();
  };
  if (has(channel.height))
    result.plots.push_back(quantity_plot(channel, channel.height, {"height", "Pulse height", "V"},
                                         given.height_v, options.bins, number));
  if (has(channel.charge))
    result.plots.push_back(
        quantity_plot(channel, channel.charge, {"charge", "Charge", "C"}, given.charge_c,
                      BinOptions{.bins = options.bins.bins, .most_bins = options.bins.most_bins}, number));
}

void add_figures(Result& result, const ChannelSpectrum& channel, std::size_t number) {
  const auto key = [number](const char* what) { return fmt::format("{}_{}", what, number); };
  const std::string& name = channel.channel;
  result.figures.push_back({key("pulses"), "Pulses shown, " + name, {count(channel.shown), nan}, ""});
  result.figures.push_back(
      {key("most_probable_height"), "Most probable height, " + name, channel.height.fit.most_probable, "V"});
  result.figures.push_back(
      {key("signal_to_noise"), "Signal-to-noise (height), " + name, channel.height.signal_to_noise, ""});
  if (!channel.charge.values.empty())
    result.figures.push_back({key("most_probable_charge"), "Most probable charge, " + name,
                              channel.charge.fit.most_probable, "C"});
  result.figures.push_back(
      {key("clipped_share"), "Share clipped, " + name, share_of(channel.clipped, channel.shown), ""});
}

void add_warnings(Result& result, const ChannelSpectrum& channel) {
  const auto warn = [&](const std::string& text) {
    result.warnings.push_back(channel.channel + ": " + text);
  };
  if (channel.shown == 0) {
    warn("no usable pulses; the table of counts tells why.");
    return;
  }
  constexpr double many = 0.01;
  if (static_cast<double>(channel.clipped) > many * static_cast<double>(channel.shown))
    warn(fmt::format("{:.1f} % of the pulses are clipped: their heights and charges are lower limits.",
                     100.0 * static_cast<double>(channel.clipped) / static_cast<double>(channel.shown)));
  const auto judge = [&](const QuantitySpectrum& found, const std::string& what) {
    if (found.values.empty()) return;
    if (found.fit.outcome != LandauGaussianFit::Outcome::found)
      warn(fmt::format("fit of the {}: {}.", what, words_of(found.fit.outcome)));
    else if (found.fit.probability < 1e-3)
      warn(
          fmt::format("a Landau distribution blurred by a normal one does not describe the {} (probability "
                      "{:.2g}): look at the plot before the most probable value is used.",
                      what, found.fit.probability));
  };
  judge(channel.height, "heights");
  judge(channel.charge, "charges");
}

std::string answer_of(const std::vector<ChannelSpectrum>& channels) {
  std::string answer;
  for (const ChannelSpectrum& channel : channels) {
    answer += answer.empty() ? "" : "; ";
    answer += channel.height.fit.usable()
                  ? fmt::format("{}: most probable height {}, signal-to-noise {}", channel.channel,
                                format_estimate(channel.height.fit.most_probable, "V"),
                                format_estimate(channel.height.signal_to_noise, ""))
                  : fmt::format("{}: no most probable height ({})", channel.channel,
                                words_of(channel.height.fit.outcome));
  }
  return answer + ".";
}

}  // namespace

AmplitudePulses::AmplitudePulses(std::vector<std::string> channels, std::uint16_t method)
    : channels_(std::move(channels)), method_(method) {
  if (channels_.empty()) throw Error("stamp table", "it names no channel", "stamp the run with one");
  const std::set<std::string> different(channels_.begin(), channels_.end());
  if (different.size() != channels_.size())
    throw Error("stamp table", "two channels have the same name", "give each its own name");
  columns_.resize(channels_.size());
  without_pulse_.resize(channels_.size());
}

void AmplitudePulses::add(std::span<const Stamp> stamps) {
  for (const Stamp& stamp : stamps) {
    if (stamp.channel >= channels_.size())
      throw Error("stamp table",
                  fmt::format("the stamp of record {} has channel {}, which has no name", stamp.record,
                              stamp.channel),
                  "write the table anew");
    if (stamp.method != method_) continue;
    if (std::isnan(stamp.height_v) && std::isnan(stamp.charge_c)) {
      ++without_pulse_[stamp.channel];
      continue;
    }
    PulseColumn& column = columns_[stamp.channel];
    column.height_v.push_back(stamp.height_v);
    column.charge_c.push_back(stamp.charge_c);
    column.baseline_v.push_back(stamp.baseline_v);
    column.noise_v.push_back(stamp.noise_v);
    column.flags.push_back(stamp.flags);
  }
}

Result analyse_amplitude(const AmplitudePulses& pulses, const AmplitudeOptions& options) {
  check(pulses, options);
  std::vector<ChannelSpectrum> channels;
  for (std::size_t i = 0; i < pulses.channels().size(); ++i)
    channels.push_back(channel_spectrum(pulses, i, options));
  Result result{.kind = "amplitude spectrum", .title = "Amplitude spectra"};
  result.answer = answer_of(channels);
  result.tables.push_back(channels_table(channels));
  result.tables.push_back(
      fits_table(channels, "height_fits", "Pulse heights", "V",
                 [](const ChannelSpectrum& channel) -> const QuantitySpectrum& { return channel.height; }));
  result.tables.push_back(
      fits_table(channels, "charge_fits", "Charges", "C",
                 [](const ChannelSpectrum& channel) -> const QuantitySpectrum& { return channel.charge; }));
  for (std::size_t i = 0; i < channels.size(); ++i) {
    add_figures(result, channels[i], i + 1);
    add_plots(result, channels[i], options, i + 1);
    add_warnings(result, channels[i]);
  }
  FrequencyPart frequency = frequency_part(options.spectra);
  std::move(frequency.tables.begin(), frequency.tables.end(), std::back_inserter(result.tables));
  std::move(frequency.plots.begin(), frequency.plots.end(), std::back_inserter(result.plots));
  std::move(frequency.warnings.begin(), frequency.warnings.end(), std::back_inserter(result.warnings));
  result.tables.push_back(counts_table(channels));
  result.cautions.emplace_back(
      "The most probable value holds for one population of pulses; pulses of noise or of a second kind below "
      "the peak pull it down. Set the fitted range where the plot shows them.");
  return result;
}

}  // namespace firstedge
