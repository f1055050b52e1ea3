#include "firstedge/amplitude/frequency.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

void check(const std::string& channel, const PowerSpectrum& spectrum) {
  if (spectrum.frequency_hz.size() != spectrum.density_v2_per_hz.size())
    throw Error("spectrum of channel " + channel,
                fmt::format("{} frequencies but {} densities", spectrum.frequency_hz.size(),
                            spectrum.density_v2_per_hz.size()),
                "give one density a frequency");
}

// The square root of the density, without the mean at 0 Hz (which a logarithmic axis cannot hold).
Series amplitude_series(std::string label, const PowerSpectrum& spectrum) {
  Series line{.label = std::move(label), .kind = Series::Kind::line};
  for (std::size_t i = 0; i < spectrum.frequency_hz.size(); ++i) {
    if (!(spectrum.frequency_hz[i] > 0)) continue;
    line.x.push_back(spectrum.frequency_hz[i]);
    line.y.push_back(spectrum.density_v2_per_hz[i] > 0 ? std::sqrt(spectrum.density_v2_per_hz[i]) : nan);
  }
  return line;
}

// Sum of density times the distance of the lines: the variance without the mean (Parseval).
double rms(const PowerSpectrum& spectrum) {
  if (spectrum.frequency_hz.size() < 2) return nan;
  const double step = spectrum.frequency_hz[1] - spectrum.frequency_hz[0];
  double sum = 0;
  for (std::size_t i = 1; i < spectrum.density_v2_per_hz.size(); ++i) sum += spectrum.density_v2_per_hz[i];
  return std::sqrt(sum * step);
}

// The highest frequency up to which every line's signal power stands over twice the noise power; single
// lines are averaged with their neighbours, since a spectrum scatters. NaN where the two do not match.
double signal_ends_hz(const PowerSpectrum& signal, const PowerSpectrum& noise) {
  if (signal.frequency_hz.empty() || signal.frequency_hz != noise.frequency_hz) return nan;
  const std::size_t size = signal.frequency_hz.size();
  double last = 0;
  for (std::size_t i = 1; i < size; ++i) {
    double sum_signal = 0;
    double sum_noise = 0;
    for (std::size_t k = i > 2 ? i - 2 : 1; k <= std::min(i + 2, size - 1); ++k) {
      sum_signal += signal.density_v2_per_hz[k];
      sum_noise += noise.density_v2_per_hz[k];
    }
    if (sum_signal <= 2 * sum_noise) break;
    last = signal.frequency_hz[i];
  }
  return last;
}

Plot spectrum_plot(const ChannelSpectra& spectra, std::size_t number) {
  Plot plot{.key = fmt::format("frequency_{}", number),
            .title = "Frequency content, " + spectra.channel,
            .caption =
                "Look for: where the signal meets the noise (what lies above it can be filtered away), "
                "sharp lines in the noise (pick-up), a noise floor that falls before the signal does "
                "(the band of the amplifier).",
            .x = {"Frequency", "Hz", true},
            .y = {"Amplitude density", "V/sqrt(Hz)", true}};
  if (!spectra.signal.frequency_hz.empty())
    plot.series.push_back(amplitude_series("signal (stretches with pulses)", spectra.signal));
  if (!spectra.noise.frequency_hz.empty())
    plot.series.push_back(amplitude_series("noise (stretches without)", spectra.noise));
  for (const PickUpLine& line : spectra.lines)
    plot.markers.push_back({line.frequency_hz.value, true, format_quantity(line.frequency_hz.value, "Hz")});
  return plot;
}

}  // namespace

FrequencyPart frequency_part(std::span<const ChannelSpectra> spectra) {
  FrequencyPart part;
  if (spectra.empty()) return part;
  Table bands{.key = "bands",
              .title = "Noise and band of each channel",
              .note = "The signal ends where its power density no longer stands over twice the noise's.",
              .columns = {{"channel", "Channel", ""},
                          {"noise_rms", "Noise, rms", "V"},
                          {"signal_ends", "Signal ends", "Hz"},
                          {"noise_stretches", "Noise averaged over", ""},
                          {"signal_stretches", "Signal averaged over", ""}}};
  Table lines{.key = "pick_up_lines",
              .title = "Pick-up lines",
              .note = "Lines that stand out of the noise around them.",
              .columns = {{"channel", "Channel", ""},
                          {"frequency", "Frequency", "Hz"},
                          {"amplitude", "Amplitude", "V"},
                          {"excess", "Over the noise around", "dB"}}};
  for (const ChannelSpectra& channel : spectra) {
    check(channel.channel, channel.signal);
    check(channel.channel, channel.noise);
    bands.rows.push_back({channel.channel, rms(channel.noise), signal_ends_hz(channel.signal, channel.noise),
                          static_cast<double>(channel.noise.segments),
                          static_cast<double>(channel.signal.segments)});
    for (const PickUpLine& line : channel.lines)
      lines.rows.push_back({channel.channel, line.frequency_hz, line.amplitude_v, line.excess_db});
    if (channel.signal.frequency_hz.empty() && channel.noise.frequency_hz.empty()) {
      part.warnings.push_back(channel.channel + ": no spectrum of its frequency content was given.");
      continue;
    }
    part.plots.push_back(spectrum_plot(channel, part.plots.size() + 1));
  }
  part.tables = {std::move(bands), std::move(lines)};
  return part;
}

}  // namespace firstedge
