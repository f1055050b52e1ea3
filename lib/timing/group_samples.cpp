#include "firstedge/timing/group_samples.hpp"

#include "firstedge/core/vector_clones.hpp"

#include <algorithm>

namespace firstedge {
namespace {

FIRSTEDGE_VECTOR_CLONES void sum_of_three(std::span<double> to, const double* a, const double* b,
                                          const double* c, double of_a, double of_b, double of_c) {
  double* __restrict sums = to.data();
  const std::size_t size = to.size();
  for (std::size_t i = 0; i < size; ++i) sums[i] = of_a * a[i] + of_b * b[i] + of_c * c[i];
}

}  // namespace

// The shares of shape, slope and curvature in a column; and the values of the column that is not whitened.
struct GroupSamples::Series {
  double of_shape, of_slope, of_curvature;
  std::vector<double> TemplateColumns::Sampled::*plain;
};

GroupSamples::GroupSamples(const TemplateColumns& columns, const PulseSamples& samples)
    : columns_(columns), samples_(samples) {
  if (samples.any_left_out) missing_ = MissingSamples(samples.left_out, columns.whitening());
  data_ = white(samples.volts);
  level_ = white(std::vector<double>(samples.volts.size(), 1.0));
}

std::vector<double> GroupSamples::shape_of(const GroupMember& member) const {
  const double rest = columns_.white_amid_zeros(member.time_samples).rest;
  return column(member, {.of_shape = 1,
                         .of_slope = rest,
                         .of_curvature = 0.5 * rest * rest,
                         .plain = &TemplateColumns::Sampled::shape});
}

std::vector<double> GroupSamples::slope_of(const GroupMember& member) const {
  const double rest = columns_.white_amid_zeros(member.time_samples).rest;
  return column(
      member,
      {.of_shape = 0, .of_slope = 1, .of_curvature = rest, .plain = &TemplateColumns::Sampled::slope});
}

SampleRange GroupSamples::rows_of(const GroupMember& member) const {
  if (!missing_.none()) return {.first = 0, .last = rows()};
  const TemplateColumns::WhiteAmidZeros amid = columns_.white_amid_zeros(member.time_samples);
  const auto size = static_cast<std::ptrdiff_t>(rows());
  const std::ptrdiff_t first = std::clamp<std::ptrdiff_t>(amid.first - samples_.first, 0, size);
  const std::ptrdiff_t last = std::clamp<std::ptrdiff_t>(
      amid.first - samples_.first + static_cast<std::ptrdiff_t>(amid.shape.size()), first, size);
  return {.first = static_cast<std::size_t>(first), .last = static_cast<std::size_t>(last)};
}

std::vector<double> GroupSamples::column(const GroupMember& member, const Series& series) const {
  std::vector<double> made(rows());
  const TemplateColumns::WhiteAmidZeros amid = columns_.white_amid_zeros(member.time_samples);
  const std::ptrdiff_t offset = samples_.first - amid.first;
  const std::ptrdiff_t begin = std::max<std::ptrdiff_t>(-offset, 0);
  const std::ptrdiff_t end =
      std::min(static_cast<std::ptrdiff_t>(amid.shape.size()) - offset, static_cast<std::ptrdiff_t>(rows()));
  const double sign = member.polarity;
  if (begin < end)
    sum_of_three(
        std::span(made).subspan(static_cast<std::size_t>(begin), static_cast<std::size_t>(end - begin)),
        amid.shape.data() + begin + offset, amid.slope.data() + begin + offset,
        amid.curvature.data() + begin + offset, sign * series.of_shape, sign * series.of_slope,
        sign * series.of_curvature);
  // The first rows do not hang on as many samples as the others.
  const std::size_t order = std::min(columns_.whitening().order(), rows());
  if (begin < static_cast<std::ptrdiff_t>(order)) {
    const TemplateColumns::Sampled sampled = columns_.sampled(member.time_samples);
    const std::vector<double> first =
        columns_.whitening().whitened(placed(sampled.*series.plain, sampled.first, sign, order));
    std::copy(first.begin(), first.end(), made.begin());
  }
  return missing_.none() ? made : missing_.taken_out(std::move(made));
}

std::vector<double> GroupSamples::uncertainty(const GroupMember& member) const {
  const TemplateColumns::Sampled sampled = columns_.sampled(member.time_samples);
  return placed(sampled.uncertainty, sampled.first, 1, rows());
}

std::vector<double> GroupSamples::sample_weights(std::span<const double> rows) const {
  return columns_.whitening().sample_weights(rows);
}

// times * values at their place among the first samples, 0 elsewhere.
std::vector<double> GroupSamples::placed(std::span<const double> values, std::ptrdiff_t first, double times,
                                         std::size_t size) const {
  std::vector<double> all(size);
  const std::ptrdiff_t begin = std::max(first, samples_.first);
  const std::ptrdiff_t end = std::min(first + static_cast<std::ptrdiff_t>(values.size()),
                                      samples_.first + static_cast<std::ptrdiff_t>(size));
  for (std::ptrdiff_t i = begin; i < end; ++i)
    all[static_cast<std::size_t>(i - samples_.first)] = times * values[static_cast<std::size_t>(i - first)];
  return all;
}

std::vector<double> GroupSamples::white(std::span<const double> values) const {
  return missing_.taken_out(columns_.whitening().whitened(values));
}

}  // namespace firstedge
