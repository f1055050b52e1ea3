#include "firstedge/timing/template_pulse.hpp"

#include "firstedge/core/vector_clones.hpp"
#include "firstedge/signal/lane_sums.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

namespace firstedge {
namespace {

constexpr int most_trials = 40;
constexpr int most_inner_steps = 20;
constexpr int most_halvings = 8;
constexpr double ready_reach = 0.75 / TemplateColumns::positions_per_sample;  // of a place's series
constexpr double least_step_samples = 1e-9;
constexpr double least_step_over_uncertainty = 1e-6;
// Steps shorter than this are taken as they are: they go from the series of one place to that of the next,
// whose difference may look like a loss.
constexpr double trusted_step = 1.0 / TemplateColumns::positions_per_sample;

// The part of the template's window that has samples, for one whole sample; and its data whitened.
struct Window {
  std::ptrdiff_t whole = 0;
  std::size_t first = 0;  // row of the template's window that it starts with
  std::size_t rows = 0;
  MissingSamples missing;
  std::vector<double> data;
  bool clipped = false, cut_before = false, cut_after = false;

  bool all_there() const { return !clipped && !cut_before && !cut_after; }
};

struct Trial {
  TemplateColumns::Place place;
  TrialFit fit;
  double time_samples = 0;
  bool at_rest = false;  // the steps have ended
};

// Each column times its share.
FIRSTEDGE_VECTOR_CLONES void take_pulse_away(std::vector<double>& data, const WhiteColumns& white,
                                             double of_shape, double of_slope, double of_curvature,
                                             double of_level) {
  double* __restrict to = data.data();
  const double* shape = white.column[shape_column].data();
  const double* slope = white.column[slope_column].data();
  const double* curvature = white.column[curvature_column].data();
  const double* level = white.column[level_column].data();
  const std::size_t size = data.size();
  for (std::size_t n = 0; n < size; ++n)
    to[n] -= of_shape * shape[n] + of_slope * slope[n] + of_curvature * curvature[n] + of_level * level[n];
}

class PulseFit {
 public:
  PulseFit(const TemplateColumns& columns, const PulseSamples& samples)
      : columns_(columns), samples_(samples) {}

  // The best fit near a time, as far as the series of its place reaches.
  std::optional<Trial> at(double time_samples) {
    if (!prepare(time_samples)) return std::nullopt;
    const WhiteColumns& white = columns_here();
    if (white.rows_used < fewest_rows()) return std::nullopt;
    Four data{};
    for (std::size_t c = 0; c < 4; ++c) data[c] = sum_of_products(white.column[c], window_.data);
    return refined(white.product, data);
  }

  FittedPulse solution(const Trial& trial) {
    place_ = trial.place;
    if (place_.whole != window_.whole) look_at(place_.whole);
    const WhiteColumns& white = columns_here();
    FittedPulse found{.time_samples = trial.time_samples,
                      .height_v = trial.fit.height_v,
                      .level_v = trial.fit.level_v,
                      .explained = trial.fit.explained,
                      .information = trial.fit.information,
                      .heights2_v2 = trial.fit.height_v * trial.fit.height_v,
                      .chi_square = chi_square(white, trial),
                      .degrees_of_freedom = white.rows_used - parameters(),
                      .shares = {},
                      .clipped = window_.clipped,
                      .cut_before = window_.cut_before,
                      .cut_after = window_.cut_after};
    found.shares = window_.all_there() ? columns_.whole_window_shares(place_.ready)
                                       : columns_.shares_of(white, place_.ready, window_.first);
    return found;
  }

 private:
  std::size_t parameters() const { return columns_.fits_level() ? 3 : 2; }
  std::size_t fewest_rows() const { return parameters() + 2; }

  // Sets the place and the window of a time; false if no sample is there.
  bool prepare(double time_samples) {
    const double reach = static_cast<double>(columns_.samples() + samples_.volts.size());
    if (!(std::abs(time_samples - static_cast<double>(samples_.first)) <= 2 * reach)) return false;  // or NaN
    place_ = columns_.place_of(time_samples, window_.whole);
    if (!has_window_ || place_.whole != window_.whole) look_at(place_.whole);
    return window_.rows > 0;
  }

  void look_at(std::ptrdiff_t whole) {
    has_window_ = true;
    part_ready_ = none_ready;
    const std::ptrdiff_t begin = whole + columns_.first_offset();
    const std::ptrdiff_t end = begin + static_cast<std::ptrdiff_t>(columns_.samples());
    const std::ptrdiff_t from = std::max(begin, samples_.first);
    const std::ptrdiff_t to = std::max(std::min(end, samples_.last()), from);
    window_ = {.whole = whole,
               .first = static_cast<std::size_t>(from - begin),
               .rows = static_cast<std::size_t>(to - from),
               .missing = {},
               .data = {},
               .clipped = false,
               .cut_before = from > begin,
               .cut_after = to < end};
    if (window_.rows == 0) return;
    const auto at = static_cast<std::size_t>(from - samples_.first);
    window_.data = columns_.whitening().whitened(std::span(samples_.volts).subspan(at, window_.rows));
    if (!samples_.any_left_out) return;
    const auto out = samples_.left_out.begin() + static_cast<std::ptrdiff_t>(at);
    std::vector<bool> left_out(out, out + static_cast<std::ptrdiff_t>(window_.rows));
    window_.missing = MissingSamples(left_out, columns_.whitening());
    window_.clipped = !window_.missing.none();
    window_.data = window_.missing.taken_out(std::move(window_.data));
  }

  const WhiteColumns& columns_here() {
    if (window_.all_there()) return columns_.whole_window(place_.ready);
    if (part_ready_ != place_.ready) {
      part_ = columns_.part_of_window(place_.ready, window_.first, window_.rows, window_.missing);
      part_ready_ = place_.ready;
    }
    return part_;
  }

  std::optional<Trial> refined(const FourByFour& products, const Four& data) const {
    Trial trial{.place = place_, .fit = {}, .time_samples = 0, .at_rest = false};
    for (int i = 0; i < most_inner_steps; ++i) {
      trial.fit = fit_at(products, data, trial.place.rest, columns_.fits_level());
      if (!std::isfinite(trial.fit.step) || !(trial.fit.information > 0)) return std::nullopt;
      const double least =
          std::max(least_step_samples, least_step_over_uncertainty / std::sqrt(trial.fit.information));
      trial.at_rest = std::abs(trial.fit.step) <= least;
      if (trial.at_rest || std::abs(trial.place.rest + trial.fit.step) > ready_reach) break;
      trial.place.rest += trial.fit.step;
    }
    trial.time_samples = columns_.time_of(trial.place);
    return trial;
  }

  double chi_square(const WhiteColumns& white, const Trial& trial) const {
    std::vector<double> residuals = window_.data;
    const double a = trial.fit.height_v, d = trial.place.rest;
    take_pulse_away(residuals, white, a, a * d, 0.5 * a * d * d, trial.fit.level_v);
    return sum_of_products(residuals, residuals);
  }

  static constexpr std::size_t none_ready = static_cast<std::size_t>(-1);
  const TemplateColumns& columns_;
  const PulseSamples& samples_;
  TemplateColumns::Place place_;
  Window window_;
  bool has_window_ = false;
  WhiteColumns part_;
  std::size_t part_ready_ = none_ready;
};

}  // namespace

std::optional<FittedPulse> fit_pulse(const TemplateColumns& columns, const PulseSamples& samples,
                                     double start_samples) {
  PulseFit fit(columns, samples);
  const double longest_step =
      std::max(1.0, 0.5 * columns.shape().transition_duration_s() / columns.interval_s());
  std::optional<Trial> best = fit.at(start_samples);
  for (int trials = 0; best && !best->at_rest && trials < most_trials; ++trials) {
    double step = std::clamp(best->fit.step, -longest_step, longest_step);
    std::optional<Trial> next;
    for (int halvings = 0; halvings <= most_halvings; ++halvings, ++trials, step /= 2) {
      next = fit.at(best->time_samples + step);
      // Another window has other samples: what they explain is not to be compared.
      const bool moved = next && next->place.whole != best->place.whole;
      if (next && (moved || std::abs(step) < trusted_step || next->fit.explained >= best->fit.explained))
        break;
      next.reset();
    }
    if (!next) return std::nullopt;
    best = next;
  }
  if (!best || !best->at_rest || !(best->fit.height_v > 0)) return std::nullopt;
  return fit.solution(*best);
}

std::optional<double> best_whole_sample(const TemplateColumns& columns, const PulseSamples& samples,
                                        double first_samples, double last_samples) {
  PulseFit fit(columns, samples);
  std::optional<double> best;
  double most = 0;
  for (double at = std::ceil(first_samples); at <= last_samples; ++at) {
    const std::optional<Trial> trial = fit.at(at);
    if (!trial || !(trial->fit.height_v > 0) || trial->fit.explained <= most) continue;
    most = trial->fit.explained;
    best = trial->time_samples;
  }
  return best;
}

}  // namespace firstedge
