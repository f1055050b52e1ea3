#include "firstedge/signal/filter.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/filter_design.hpp"
#include "firstedge/signal/section_lanes.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <complex>
#include <span>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Kind = FilterOptions::Kind;
using Band = FilterOptions::Band;

constexpr int highest_order = 12;
constexpr double most_kernel_samples = 1e5;
constexpr std::size_t most_direct_weights = 256;  // longer kernels are run by Fourier transforms
constexpr std::size_t fewest_side_by_side = 3;    // for less it does not pay
constexpr double narrow_band_ratio = 4;  // of the corners: below it a band-pass makes bursts of pulses

std::string name_of(Kind kind) {
  switch (kind) {
    case Kind::butterworth:
      return "butterworth";
    case Kind::bessel:
      return "bessel";
    case Kind::moving_average:
      return "moving_average";
    case Kind::gaussian:
      return "gaussian";
    case Kind::notch:
      return "notch";
    case Kind::matched:
      return "matched";
  }
  return "filter";
}

[[noreturn]] void refuse(const FilterOptions& options, const std::string& problem,
                         const std::string& remedy) {
  throw Error(fmt::format("filter {}", name_of(options.kind)), problem, remedy);
}

void check_frequency(const FilterOptions& options, double frequency_hz, double sampling_hz) {
  if (frequency_hz > 0 && frequency_hz < 0.5 * sampling_hz) return;
  refuse(options,
         fmt::format("{:.6g} Hz is not between 0 and half the sampling rate of {:.6g} Hz", frequency_hz,
                     sampling_hz),
         "choose a frequency below half the sampling rate");
}

void check_recursive(const FilterOptions& options, double sampling_hz) {
  if (options.order < 1 || options.order > highest_order)
    refuse(options, fmt::format("order {} is not from 1 to {}", options.order, highest_order),
           "choose an order in that range");
  if (options.band != Band::low_pass) check_frequency(options, options.low_hz, sampling_hz);
  if (options.band != Band::high_pass) check_frequency(options, options.high_hz, sampling_hz);
  if (options.band == Band::band_pass && !(options.low_hz < options.high_hz))
    refuse(options, "the lower corner is not below the upper one", "give the corners in rising order");
}

std::vector<FilterSection> design_sections(const FilterOptions& options, double sampling_hz) {
  if (options.kind == Kind::notch) {
    check_frequency(options, options.low_hz, sampling_hz);
    if (!(options.quality > 0.5) || options.quality > 1e6)
      refuse(options, fmt::format("quality {:.6g} is not from 0.5 to 1e6", options.quality),
             "choose the notch's centre over its width");
    return {notch_section(options.low_hz, options.quality, sampling_hz)};
  }
  check_recursive(options, sampling_hz);
  return recursive_sections(options, sampling_hz);
}

FilterKernel design_kernel(const FilterOptions& options, double interval_s) {
  if (options.kind == Kind::matched) {
    if (!options.pulse_template || options.pulse_template->shape.empty() || !options.noise)
      refuse(options, "the channel's pulse template or noise is not known",
             "learn both from the run before this filter is used");
    return matched_kernel(*options.pulse_template, *options.noise, interval_s);
  }
  const double width = options.width_s / interval_s;
  if (!(width > 0) || width > most_kernel_samples)
    refuse(options,
           fmt::format("a width of {:.6g} s is not more than 0 and at most a hundred thousand samples",
                       options.width_s),
           "give the width like \"0.4 ns\"");
  return options.kind == Kind::gaussian ? gaussian_kernel(width) : moving_average_kernel(width);
}

bool is_recursive(Kind kind) {
  return kind == Kind::butterworth || kind == Kind::bessel || kind == Kind::notch;
}

/// The delay of the causal form, in samples; the class comment says why.
double causal_delay(const FilterOptions& options, const std::vector<FilterSection>& sections,
                    double interval_s) {
  if (options.kind == Kind::notch || options.band == Band::low_pass) return group_delay(sections, 0);
  if (options.band == Band::high_pass) return 0;
  if (options.high_hz < narrow_band_ratio * options.low_hz)
    return group_delay(sections, std::sqrt(options.low_hz * options.high_hz) * interval_s);
  FilterOptions low_pass = options;
  low_pass.band = Band::low_pass;
  low_pass.high_hz = options.high_hz - options.low_hz;
  return group_delay(recursive_sections(low_pass, 1 / interval_s), 0);
}

/// Samples by which scipy.signal.sosfiltfilt continues a trace when not told otherwise.
std::size_t continued_samples(const std::vector<FilterSection>& sections) {
  const auto first_order = std::count_if(sections.begin(), sections.end(), [](const FilterSection& section) {
    return section.b2 == 0 && section.a2 == 0;
  });
  return 3 * (2 * sections.size() + 1 - static_cast<std::size_t>(first_order));
}

/// The samples of n continued at both ends by their point reflection at the end samples, in order: a sample
/// of its own, or `reflected(end, at)`, the end sample twice less another one.
template <class Own, class Reflected>
void for_each_continued(std::size_t n, std::size_t ends, Own&& own, Reflected&& reflected) {
  const auto inside = [n](std::size_t distance) { return std::min(distance, n - 1); };
  for (std::size_t k = ends; k >= 1; --k) reflected(std::size_t{0}, inside(k));
  for (std::size_t i = 0; i < n; ++i) own(i);
  for (std::size_t k = 1; k <= ends; ++k) reflected(n - 1, n - 1 - inside(k));
}

std::vector<double> continued(const std::vector<double>& volts, std::size_t ends) {
  std::vector<double> longer(volts.size() + 2 * ends);
  double* to = longer.data();
  for_each_continued(
      volts.size(), ends, [&](std::size_t i) { *to++ = volts[i]; },
      [&](std::size_t end, std::size_t at) { *to++ = 2 * volts[end] - volts[at]; });
  return longer;
}

/// One pass through the sections in place, each settled on its first sample (direct form II transposed).
template <class Samples>
void run_sections(const std::vector<FilterSection>& sections, Samples first, Samples last) {
  for (const FilterSection& section : sections) {
    const double settled_in = *first;
    const double settled_out =
        settled_in * (section.b0 + section.b1 + section.b2) / (1 + section.a1 + section.a2);
    double second = section.b2 * settled_in - section.a2 * settled_out;
    double state = section.b1 * settled_in - section.a1 * settled_out + second;
    for (Samples sample = first; sample != last; ++sample) {
      const double in = *sample;
      const double out = section.b0 * in + state;
      state = section.b1 * in - section.a1 * out + second;
      second = section.b2 * in - section.a2 * out;
      *sample = out;
    }
  }
}

std::vector<double> without_ends(const std::vector<double>& longer, std::size_t ends) {
  return {longer.begin() + static_cast<std::ptrdiff_t>(ends),
          longer.end() - static_cast<std::ptrdiff_t>(ends)};
}

/// Traces of one length, each continued at its ends; where there are fewer than stand side by side, the last
/// one stands in the other places too.
SideBySide side_by_side(std::span<const std::vector<double>> traces, std::size_t ends) {
  std::array<const double*, traces_side_by_side> volts{};
  for (std::size_t k = 0; k < volts.size(); ++k) volts[k] = traces[std::min(k, traces.size() - 1)].data();
  const std::size_t size = traces.front().size();
  SideBySide samples((size + 2 * ends) * traces_side_by_side);
  double* to = samples.data();
  for_each_continued(
      size, ends,
      [&](std::size_t i) {
        for (const double* one : volts) *to++ = one[i];
      },
      [&](std::size_t end, std::size_t at) {
        for (const double* one : volts) *to++ = 2 * one[end] - one[at];
      });
  return samples;
}

/// The first `count` traces of them, without the ends.
std::vector<std::vector<double>> apart(const SideBySide& samples, std::size_t count, std::size_t ends) {
  const std::size_t size = samples.size() / traces_side_by_side - 2 * ends;
  std::vector<std::vector<double>> traces(count);
  for (std::vector<double>& one : traces) one.resize(size);
  const double* from = samples.data() + ends * traces_side_by_side;
  // A few lines of the cache at a time, for each trace in turn.
  constexpr std::size_t at_once = 64;
  for (std::size_t first = 0; first < size; first += at_once) {
    const std::size_t last = std::min(first + at_once, size);
    for (std::size_t k = 0; k < count; ++k)
      for (std::size_t i = first; i < last; ++i) traces[k][i] = from[i * traces_side_by_side + k];
  }
  return traces;
}

/// The sums sum over k of weights[k] * longer[first + i + k] for i < samples, one by one.
std::vector<double> direct_sums(const std::vector<double>& weights, const std::vector<double>& longer,
                                std::size_t first, std::size_t samples) {
  std::vector<double> sums(samples, 0.0);
  for (std::size_t i = 0; i < samples; ++i) {
    const double* in = longer.data() + first + i;
    double sum = 0;
    for (std::size_t k = 0; k < weights.size(); ++k) sum += weights[k] * in[k];
    sums[i] = sum;
  }
  return sums;
}

/// The same by the correlation theorem; equal to rounding of the largest sample.
std::vector<double> transformed_sums(const std::vector<double>& weights, const std::vector<double>& longer,
                                     std::size_t first, std::size_t samples) {
  const std::size_t size = std::bit_ceil(longer.size() + weights.size());
  std::vector<double> in(size, 0.0), kernel(size, 0.0);
  std::copy(longer.begin(), longer.end(), in.begin());
  std::copy(weights.begin(), weights.end(), kernel.begin());
  std::vector<std::complex<double>> lines = forward_fft(in);
  const std::vector<std::complex<double>> of_kernel = forward_fft(kernel);
  for (std::size_t k = 0; k < lines.size(); ++k) lines[k] *= std::conj(of_kernel[k]);
  const std::vector<double> sums = inverse_fft(std::move(lines), size);
  const auto begin = sums.begin() + static_cast<std::ptrdiff_t>(first);
  return {begin, begin + static_cast<std::ptrdiff_t>(samples)};
}

std::vector<double> run_kernel(const FilterKernel& kernel, const std::vector<double>& volts,
                               std::size_t ends) {
  const std::vector<double> longer = continued(volts, ends);
  const auto sums = kernel.weights.size() > most_direct_weights ? transformed_sums : direct_sums;
  return sums(kernel.weights, longer, ends - kernel.origin, volts.size());
}

}  // namespace

FilterOptions filter_options(const Settings& settings) {
  FilterOptions options;
  const std::string kind = settings.choice(
      "kind", "butterworth", {"butterworth", "bessel", "moving_average", "gaussian", "notch", "matched"});
  for (const Kind one :
       {Kind::butterworth, Kind::bessel, Kind::moving_average, Kind::gaussian, Kind::notch, Kind::matched}) {
    if (kind == name_of(one)) options.kind = one;
  }
  if (is_recursive(options.kind))
    options.zero_phase = settings.choice("phase", "zero", {"zero", "causal"}) == "zero";
  if (options.kind == Kind::notch) {
    options.low_hz = settings.quantity("centre", "Hz", 0);
    options.quality = settings.number("quality", options.quality);
    if (!(options.low_hz > 0))
      settings.refuse("centre", "is missing or not positive", "give it like \"98 MHz\"");
  } else if (is_recursive(options.kind)) {
    const std::string band = settings.choice("band", "low_pass", {"low_pass", "high_pass", "band_pass"});
    options.band = band == "low_pass"    ? Band::low_pass
                   : band == "high_pass" ? Band::high_pass
                                         : Band::band_pass;
    const double order = settings.number("order", options.order);
    if (order != std::floor(order) || order < 1 || order > highest_order)
      settings.refuse("order", fmt::format("is {:.6g}", order),
                      fmt::format("give a whole number from 1 to {}", highest_order));
    options.order = static_cast<int>(order);
    const std::vector<double> corners = settings.quantities("cut", "Hz");
    if (corners.size() != (options.band == Band::band_pass ? 2U : 1U))
      settings.refuse("cut", fmt::format("holds {} frequencies", corners.size()),
                      "give one like \"400 MHz\", or for a band_pass two in brackets");
    options.low_hz = options.band == Band::low_pass ? 0 : corners.front();
    options.high_hz = options.band == Band::high_pass ? 0 : corners.back();
  } else if (options.kind != Kind::matched) {
    options.width_s = settings.quantity("width", "s", 0);
    if (!(options.width_s > 0))
      settings.refuse("width", "is missing or not positive", "give it like \"0.4 ns\"");
  }
  settings.finish();
  return options;
}

Filter::Filter(const FilterOptions& options, double interval_s) : interval_s_(interval_s) {
  if (!(interval_s > 0) || !std::isfinite(interval_s))
    refuse(options, fmt::format("the sample interval is {:.6g} s", interval_s), "give traces a positive one");
  if (!is_recursive(options.kind)) {
    FilterKernel kernel = design_kernel(options, interval_s);
    ends_ = kernel.weights.size();
    design_ = std::move(kernel);
    return;
  }
  std::vector<FilterSection> sections = design_sections(options, 1 / interval_s);
  twice_ = options.zero_phase;
  if (!twice_) delay_s_ = causal_delay(options, sections, interval_s) * interval_s;
  ends_ = continued_samples(sections);
  design_ = std::move(sections);
}

Filtered Filter::operator()(const std::vector<double>& volts) const {
  Filtered filtered{.volts = {}, .delay_s = delay_s_};
  if (volts.empty()) return filtered;
  if (const auto* kernel = std::get_if<FilterKernel>(&design_)) {
    filtered.volts = run_kernel(*kernel, volts, ends_);
    return filtered;
  }
  const auto& sections = std::get<std::vector<FilterSection>>(design_);
  const std::size_t ends = std::min(ends_, volts.size() - 1);
  std::vector<double> longer = continued(volts, ends);
  run_sections(sections, longer.begin(), longer.end());
  if (twice_) run_sections(sections, longer.rbegin(), longer.rend());
  filtered.volts = without_ends(longer, ends);
  return filtered;
}

std::vector<Filtered> Filter::operator()(std::span<const std::vector<double>> traces) const {
  std::vector<Filtered> filtered;
  filtered.reserve(traces.size());
  const auto* sections = std::get_if<std::vector<FilterSection>>(&design_);
  while (filtered.size() < traces.size()) {
    const auto rest = traces.subspan(filtered.size());
    if (sections == nullptr || rest.size() < fewest_side_by_side || rest.front().empty()) {
      filtered.push_back((*this)(rest.front()));
      continue;
    }
    const auto some = rest.first(std::min(rest.size(), traces_side_by_side));
    const std::size_t ends = std::min(ends_, some.front().size() - 1);
    SideBySide samples = side_by_side(some, ends);
    run_sections_side_by_side(*sections, samples, false);
    if (twice_) run_sections_side_by_side(*sections, samples, true);
    for (std::vector<double>& volts : apart(samples, some.size(), ends))
      filtered.push_back({.volts = std::move(volts), .delay_s = delay_s_});
  }
  return filtered;
}

double Filter::gain(double frequency_hz) const {
  const double once = std::abs(
      std::visit([&](const auto& design) { return response(design, frequency_hz * interval_s_); }, design_));
  return twice_ ? once * once : once;
}

Filtered apply_filter(const std::vector<double>& volts, double interval_s, const FilterOptions& options) {
  return Filter(options, interval_s)(volts);
}

}  // namespace firstedge
