#include "firstedge/delay/transfer.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

namespace firstedge {
namespace {

using Complex = std::complex<double>;

constexpr std::size_t fewest_records = 8;
constexpr double chance = 1e-3;
constexpr double db_per_neper = 8.685889638065036;  // 20 / ln 10

// One line of the transfer function, the first value of the delay taken out of its phase.
struct Line {
  double angular = 0;
  Complex gain;
  double variance = 0;  // of phase and of relative gain
  double coherence = 0;
  double cut_off = 0;  // of the gain, relative: what the end of the record leaves out
};

struct Spectra {
  const PairSpectra& sums;
  std::vector<double> noise;  // summed over the records, of `before`
  double interval_s = 0;
  double offset_s = 0;  // first value of the delay, without that of the records' first samples
  double step_v = 0;    // at the end of the record
};

double end_step_v(const MeanTrace& mean) {
  const std::size_t count = std::max<std::size_t>(1, mean.size() / 16);
  return std::accumulate(mean.volts.end() - static_cast<std::ptrdiff_t>(count), mean.volts.end(), 0.0) /
         static_cast<double>(count);
}

Line line_at(const Spectra& spectra, std::size_t k) {
  const PairSpectra& sums = spectra.sums;
  const auto records = static_cast<double>(sums.records);
  Line line;
  line.angular = 2 * std::numbers::pi * static_cast<double>(k) /
                 (static_cast<double>(sums.samples) * spectra.interval_s);
  const double signal = sums.before[k] - spectra.noise[k];
  const double powers = sums.before[k] * sums.after[k];
  if (!(signal > 0) || !(powers > 0)) return line;
  line.coherence = std::norm(sums.cross[k]) / powers;
  line.gain = sums.cross[k] / signal * std::polar(1.0, line.angular * spectra.offset_s);
  line.variance = (1 - line.coherence) / (2 * (records - 1) * line.coherence);
  // A step of s volts has the spectrum s/(j w), in units of a sum over samples s/(j w interval).
  const double step = std::abs(spectra.step_v) / (line.angular * spectra.interval_s);
  line.cut_off = step / (std::abs(line.gain) * std::sqrt(signal / records));
  return line;
}

// The phases of the lines from the mean direction of all of them, in (-pi, pi].
std::vector<double> phases_of(const std::vector<Line>& lines) {
  Complex direction = 0;
  for (const Line& line : lines) direction += line.gain;
  std::vector<double> phases;
  for (const Line& line : lines) phases.push_back(std::arg(line.gain * std::conj(direction)));
  return phases;
}

// Straight phase and constant gain over a band, weighed by the variances of the lines.
TransferBand band_of(const std::vector<Line>& lines, double records) {
  // Gains of one line and another differ by no more than their coherence allows: none is certain.
  constexpr double least_variance = 1e-12;
  const std::vector<double> phases = phases_of(lines);
  double sum = 0, sum_w = 0, sum_phase = 0, sum_gain = 0, sum_coherence = 0, worst_cut = 0;
  const auto weight = [&](const Line& line) { return 1 / std::max(line.variance, least_variance); };
  for (std::size_t i = 0; i < lines.size(); ++i) {
    sum += weight(lines[i]);
    sum_w += weight(lines[i]) * lines[i].angular;
    sum_phase += weight(lines[i]) * phases[i];
    sum_gain += weight(lines[i]) * std::log(std::abs(lines[i].gain));
    sum_coherence += lines[i].coherence;
    worst_cut = std::max(worst_cut, lines[i].cut_off);
  }
  const double middle = sum_w / sum, mean_phase = sum_phase / sum;
  double squares = 0, products = 0;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const double distance = lines[i].angular - middle;
    squares += weight(lines[i]) * distance * distance;
    products += weight(lines[i]) * distance * (phases[i] - mean_phase);
  }
  const double freedom = 2 * (records - 1) * static_cast<double>(lines.size());
  const double span = lines.back().angular - lines.front().angular;
  TransferBand band;
  band.frequency_hz = middle / (2 * std::numbers::pi);
  band.low_hz = lines.front().angular / (2 * std::numbers::pi);
  band.high_hz = lines.back().angular / (2 * std::numbers::pi);
  // The cut-off part turns slowly over a band: its error of the slope is at most that of the phase over it.
  band.group_delay_s = {-products / squares, std::hypot(1 / std::sqrt(squares), worst_cut / span), freedom};
  band.attenuation_db = {-db_per_neper * sum_gain / sum,
                         db_per_neper * std::hypot(1 / std::sqrt(sum), worst_cut), freedom};
  band.coherence = sum_coherence / static_cast<double>(lines.size());
  band.lines = lines.size();
  return band;
}

}  // namespace

std::vector<TransferBand> transfer_bands(const PairAverage& average, double delay_s,
                                         const TransferOptions& options) {
  const PairSpectra& sums = average.spectra();
  std::vector<TransferBand> bands;
  if (sums.records < fewest_records) return bands;
  const MeanTrace before = average.before().mean(), after = average.after().mean();
  const double records_start_s = after.head.first_sample_s - before.head.first_sample_s;
  Spectra spectra{.sums = sums,
                  .noise = mean_noise_power(before, sums.samples),
                  .interval_s = before.interval_s(),
                  .offset_s = delay_s - records_start_s,
                  .step_v = end_step_v(after)};
  // mean_noise_power is that of the mean: times records for one record, times records for the sum over them.
  for (double& power : spectra.noise)
    power *= static_cast<double>(sums.samples) * std::pow(static_cast<double>(sums.records), 2);

  const double chance_level = 1 - std::pow(chance, 1 / (static_cast<double>(sums.records) - 1));
  const double ratio = std::exp2(1 / options.bands_per_octave);
  double low = 1.5;
  while (low < static_cast<double>(sums.cross.size() - 1)) {
    const double high = std::max(low * ratio, low + static_cast<double>(options.fewest_lines));
    std::vector<Line> lines;
    bool good = true;
    for (auto k = static_cast<std::size_t>(std::ceil(low));
         static_cast<double>(k) < high && k + 1 < sums.cross.size(); ++k) {
      lines.push_back(line_at(spectra, k));
      good = good && lines.back().coherence > chance_level;
    }
    low = high;
    if (!good || lines.size() < options.fewest_lines) continue;
    bands.push_back(band_of(lines, static_cast<double>(sums.records)));
    bands.back().group_delay_s.value += delay_s;
  }
  return bands;
}

}  // namespace firstedge
