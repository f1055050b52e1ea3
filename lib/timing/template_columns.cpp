#include "firstedge/timing/template_columns.hpp"

#include "firstedge/signal/lane_sums.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace firstedge {
namespace {

// A time may stand this far from the whole sample of its place; twice what is needed, see place_of.
constexpr double reach = 1;
constexpr int positions = 2 * TemplateColumns::positions_per_sample + 1;

WhiteColumns multiplied(std::array<std::vector<double>, 4> columns, std::size_t rows_used) {
  WhiteColumns white{.column = std::move(columns), .product = {}, .rows_used = rows_used};
  for (std::size_t i = 0; i < 4; ++i)
    for (std::size_t j = i; j < 4; ++j)
      white.product[i][j] = white.product[j][i] = sum_of_products(white.column[i], white.column[j]);
  return white;
}

// The whitened weights by which the fitted time (height 1 V) hangs on the rows, taken back to the samples.
TimeShares time_shares(const WhiteColumns& white, std::span<const double> uncertainty,
                       const NoiseWhitening& whitening, double variance_v2, bool fit_level) {
  const FreeSlope free = free_slope(white.product, 0, fit_level);
  std::vector<double> rows(white.column[slope_column].size());
  for (std::size_t n = 0; n < rows.size(); ++n)
    rows[n] = (white.column[slope_column][n] - free.on_shape * white.column[shape_column][n] -
               free.on_level * white.column[level_column][n]) /
              free.information;
  const std::vector<double> weights = whitening.sample_weights(rows);
  double squares = 0;
  double uncertain_squares = 0;
  TimeShares shares;
  for (std::size_t n = 0; n < weights.size(); ++n) {
    squares += weights[n] * weights[n];
    uncertain_squares += weights[n] * weights[n] * uncertainty[n] * uncertainty[n];
    shares.level_samples += weights[n];
  }
  shares.of_extra_noise = squares * free.information;
  shares.of_template = squares > 0 ? uncertain_squares / squares / variance_v2 : 0;
  return shares;
}

}  // namespace

TemplateColumns::TemplateColumns(const PulseTemplate& pulse_template, const NoiseModel& noise, bool fit_level)
    : shape_(pulse_template),
      interval_s_(noise.interval_s),
      fit_level_(fit_level),
      whitening_(noise, shape_.samples_across(noise.interval_s)) {
  if (whitening_.known()) variance_v2_ = noise.covariance_v2(0);
  constexpr double room = 1e-6;  // for rounding, so that no sample stands outside the support
  const double first = std::ceil(shape_.first_s() / interval_s_ + reach + room);
  const double last = std::floor(shape_.last_s() / interval_s_ - reach - room);
  first_offset_ = static_cast<std::ptrdiff_t>(first);
  samples_ = static_cast<std::size_t>(std::max(last - first + 1, 0.0));
  for (std::size_t i = 0; i < positions; ++i) ready_.push_back(sampled_at(position_of(i)));

  const Ready& middle = ready_[positions / 2];
  double squares = 0;
  for (const double u : middle.uncertainty) squares += u * u;
  const auto count = static_cast<double>(std::max<std::size_t>(samples_, 1));
  chi_square_share_of_template_ = squares / count / variance_v2_;
  double weights = 0;
  std::vector<double> unit(samples_);
  for (std::size_t n = 0; n < std::min(samples_, whitening_.order() + 1); ++n) {
    unit[n] = 1;
    const std::vector<double> row = whitening_.sample_weights(unit);
    unit[n] = 0;
    const bool last_order = n + 1 == std::min(samples_, whitening_.order() + 1);
    weights += sum_of_products(row, row) * (last_order ? static_cast<double>(samples_ - n) : 1.0);
  }
  chi_square_share_of_extra_noise_ = weights / count;
}

TemplateColumns::Ready TemplateColumns::sampled_at(double position) const {
  Ready made;
  for (auto& column : made.plain) column.resize(samples_);
  made.uncertainty.resize(samples_);
  for (std::size_t i = 0; i < samples_; ++i) {
    const double t = (static_cast<double>(first_offset_) + static_cast<double>(i) - position) * interval_s_;
    made.plain[shape_column][i] = shape_.value(t) / shape_.peak();
    made.plain[slope_column][i] = -shape_.slope_per_s(t) * interval_s_ / shape_.peak();
    made.plain[curvature_column][i] = shape_.curvature_per_s2(t) * interval_s_ * interval_s_ / shape_.peak();
    made.plain[level_column][i] = 1;
    made.uncertainty[i] = shape_.uncertainty(t) / shape_.peak();
  }
  std::array<std::vector<double>, 4> white;
  for (std::size_t c = 0; c < 4; ++c) white[c] = whitening_.whitened(made.plain[c]);
  for (std::size_t c = 0; c < made.white_amid_zeros.size(); ++c)
    made.white_amid_zeros[c] = whitening_.whitened_amid_zeros(made.plain[c]);
  made.white = multiplied(std::move(white), samples_);
  made.shares = time_shares(made.white, made.uncertainty, whitening_, variance_v2_, fit_level_);
  return made;
}

std::size_t TemplateColumns::places() {
  return positions;
}

double TemplateColumns::position_of(std::size_t ready) {
  return (static_cast<double>(ready) - 0.5 * (positions - 1)) / positions_per_sample;
}

TemplateColumns::Place TemplateColumns::place_of_nearest(double time_samples) const {
  return place_of(time_samples, static_cast<std::ptrdiff_t>(std::floor(time_samples + 0.5)));
}

TemplateColumns::Place TemplateColumns::place_of(double time_samples, std::ptrdiff_t whole) const {
  constexpr double steps = positions_per_sample;
  if (std::abs(time_samples - static_cast<double>(whole)) > reach)
    whole = static_cast<std::ptrdiff_t>(std::floor(time_samples + 0.5));
  const double within = time_samples - static_cast<double>(whole);
  const double nearest = std::round(within * steps) + 0.5 * (positions - 1);
  const auto ready = static_cast<std::size_t>(std::clamp(nearest, 0.0, double(positions - 1)));
  return {.whole = whole, .ready = ready, .rest = within - position_of(ready)};
}

TemplateColumns::Sampled TemplateColumns::sampled(double time_samples) const {
  const Place place = place_of_nearest(time_samples);
  const Ready& ready = ready_[place.ready];
  Sampled found{.first = place.whole + first_offset_,
                .shape = ready.plain[shape_column],
                .slope = ready.plain[slope_column],
                .uncertainty = ready.uncertainty};
  for (std::size_t i = 0; i < samples_; ++i) {
    const double curvature = ready.plain[curvature_column][i];
    found.shape[i] += place.rest * (found.slope[i] + 0.5 * place.rest * curvature);
    found.slope[i] += place.rest * curvature;
  }
  return found;
}

TemplateColumns::WhiteAmidZeros TemplateColumns::white_amid_zeros(double time_samples) const {
  const Place place = place_of_nearest(time_samples);
  const auto& columns = ready_[place.ready].white_amid_zeros;
  return {.first = place.whole + first_offset_,
          .rest = place.rest,
          .shape = columns[shape_column],
          .slope = columns[slope_column],
          .curvature = columns[curvature_column]};
}

double TemplateColumns::time_of(const Place& place) const {
  return static_cast<double>(place.whole) + position_of(place.ready) + place.rest;
}

WhiteColumns TemplateColumns::part_of_window(std::size_t ready, std::size_t first, std::size_t rows,
                                             const MissingSamples& missing) const {
  std::array<std::vector<double>, 4> white;
  for (std::size_t c = 0; c < 4; ++c) {
    const std::span plain = std::span(ready_[ready].plain[c]).subspan(first, rows);
    white[c] = missing.taken_out(whitening_.whitened(plain));
  }
  return multiplied(std::move(white), rows - missing.rows_lost());
}

TimeShares TemplateColumns::shares_of(const WhiteColumns& columns, std::size_t ready,
                                      std::size_t first) const {
  const std::span uncertainty = std::span(ready_[ready].uncertainty).subspan(first);
  return time_shares(columns, uncertainty.first(columns.column[0].size()), whitening_, variance_v2_,
                     fit_level_);
}

}  // namespace firstedge
