// Group samples: the samples of overlapping pulses, whitened, and what each pulse puts into them.
#pragma once

#include "firstedge/core/trace.hpp"
#include "firstedge/timing/missing_samples.hpp"
#include "firstedge/timing/template_pulse.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// A pulse of a group before the fit.
struct GroupMember {
  double time_samples = 0;
  int polarity = 1;
};

/// Columns and samples must outlive it. Every column has the shape (rows(),). Those of pulses are put
/// together from columns that stand whitened amid zeros: of what is whitened for these samples alone, only
/// the first rows differ, fewer than the whitening's order (tests/unit/timing holds them to whitening the
/// whole).
class GroupSamples {
 public:
  GroupSamples(const TemplateColumns& columns, const PulseSamples& samples);

  std::size_t rows() const { return data_.size(); }
  /// How many samples' worth of knowledge is in them.
  std::size_t rows_used() const { return rows() - missing_.rows_lost(); }
  const TemplateColumns& columns() const { return columns_; }
  const PulseSamples& samples() const { return samples_; }
  const std::vector<double>& data() const { return data_; }
  const std::vector<double>& level() const { return level_; }

  /// What a member of height 1 V puts into the samples, and its derivative with the time in samples.
  std::vector<double> shape_of(const GroupMember& member) const;
  std::vector<double> slope_of(const GroupMember& member) const;
  /// The rows outside which both are 0.
  SampleRange rows_of(const GroupMember& member) const;

  /// The template's standard uncertainty at each sample, for a height of 1 V.
  std::vector<double> uncertainty(const GroupMember& member) const;
  /// The weights of the samples in a weighted sum of rows.
  std::vector<double> sample_weights(std::span<const double> rows) const;

 private:
  struct Series;
  std::vector<double> column(const GroupMember& member, const Series& series) const;
  std::vector<double> placed(std::span<const double> values, std::ptrdiff_t first, double times,
                             std::size_t size) const;
  std::vector<double> white(std::span<const double> values) const;

  const TemplateColumns& columns_;
  const PulseSamples& samples_;
  MissingSamples missing_;
  std::vector<double> data_, level_;
};

}  // namespace firstedge
