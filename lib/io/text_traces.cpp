#include "firstedge/io/text_traces.hpp"

#include "firstedge/core/estimate.hpp"
#include "firstedge/io/text_time_axis.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

// A stated interval may be rounded to a few digits before it disagrees with the times.
constexpr double stated_interval_tolerance = 1e-3;

class TraceMaker {
 public:
  TraceMaker(TextRecordRows rows, const TextLayout& layout, const TextOptions& options)
      : rows_(std::move(rows)), layout_(layout), options_(options) {}

  TextRecord make() {
    check_index();
    find_axes();
    if (record_.damage) return std::move(record_);
    for (const VoltageColumn& voltage : layout_.voltages) add_trace(voltage);
    record_.trigger = rows_.facts.trigger ? std::optional(rows_.facts.trigger->value) : std::nullopt;
    check_length();
    return std::move(record_);
  }

 private:
  struct Axis {
    double interval_s = 0;
    double first_sample_s = 0;
  };

  const std::vector<double>& column(std::size_t number) const {
    const auto at = std::lower_bound(rows_.wanted.begin(), rows_.wanted.end(), number);
    return rows_.columns[static_cast<std::size_t>(at - rows_.wanted.begin())];
  }

  void damage(std::size_t row, const std::string& problem, const std::string& remedy) {
    record_.damage.emplace(fmt::format("{}, line {}", rows_.file, rows_.lines[row]), problem, remedy);
  }

  void check_index() {
    if (!layout_.index_column) return;
    const std::vector<double>& index = column(*layout_.index_column);
    for (std::size_t i = 1; i < index.size(); ++i) {
      if (index[i] - index[i - 1] == 1) continue;
      damage(i, fmt::format("the count of samples goes from {} to {}", index[i - 1], index[i]),
             "mend the file, or name the columns in input/time_column and input/voltage_columns");
      return;
    }
  }

  void find_axes() {
    for (const TimeColumn& time : layout_.times) {
      if (record_.damage) return;
      axes_.push_back(axis_of(time));
    }
    if (!layout_.times.empty()) return;
    const auto& facts = rows_.facts;  // find_layout made sure that there is an interval
    const double interval = options_.interval_s ? *options_.interval_s : facts.interval_s->value;
    axes_.push_back({interval, stated_first_sample()});
  }

  double stated_first_sample() const {
    if (options_.first_sample_s) return *options_.first_sample_s;
    return rows_.facts.first_sample_s ? rows_.facts.first_sample_s->value : 0;
  }

  Axis axis_of(const TimeColumn& time) {
    const std::vector<double>& times = column(time.column);
    const auto& stated = rows_.facts.interval_s;
    std::optional<double> known = options_.interval_s;
    if (!known && times.size() == 1 && stated) known = stated->value;
    const TimeAxisFit fit = known ? place_time_axis(times, *known / time.factor_s) : fit_time_axis(times);
    if (fit.fault) {
      damage(
          fit.fault->row, "the time " + fit.fault->problem,
          "mend the file, or give input/interval (or input/time_column) if the times are not to be trusted");
      return {};
    }
    const Axis axis{known ? *known : scaled(fit.axis.interval, time.factor_s),
                    options_.first_sample_s.value_or(scaled(fit.axis.first, time.factor_s))};
    if (!(axis.interval_s > 0) || !std::isfinite(axis.interval_s) || !std::isfinite(axis.first_sample_s)) {
      damage(0, "the times are out of the range of a number in seconds", "correct input/time_unit");
      return {};
    }
    add_axis_remarks(fit, axis, known ? std::nullopt : stated);
    return axis;
  }

  void add_axis_remarks(const TimeAxisFit& fit, const Axis& axis,
                        const std::optional<HeaderFact<double>>& stated) {
    if (fit.rounding > most_certain_rounding) {
      record_.remarks.push_back(
          {"coarse times",
           fmt::format("{}: the times are printed in steps of {:.2g} sample intervals, too coarse to see a "
                       "missing row; the fitted interval is {} (input/interval overrides it)",
                       place(), fit.rounding, format_quantity(axis.interval_s, "s", 7))});
    }
    if (stated && std::abs(stated->value - axis.interval_s) > stated_interval_tolerance * axis.interval_s) {
      record_.remarks.push_back(
          {"stated interval", fmt::format("{}: the header states the interval {} in {}, the column of times "
                                          "gives {}, which is used (input/interval overrides it)",
                                          place(), format_quantity(stated->value, "s"), stated->from,
                                          format_quantity(axis.interval_s, "s"))});
    }
  }

  void add_trace(const VoltageColumn& voltage) {
    const std::vector<double>& values = column(voltage.column);
    const Axis& axis = axes_[voltage.time.value_or(0)];
    TextTrace trace{{}, axis.interval_s, axis.first_sample_s, voltage.volts_per_count};
    bool whole = voltage.whole_counts;
    for (const double value : values) {
      if (std::isnan(value)) ++record_.samples_not_numbers;
      whole =
          whole && value == std::floor(value) && std::abs(value) <= std::numeric_limits<std::int32_t>::max();
    }
    if (whole) {
      std::vector<std::int32_t> counts(values.size());
      std::transform(values.begin(), values.end(), counts.begin(),
                     [](double value) { return static_cast<std::int32_t>(value); });
      trace.counts = std::move(counts);
    } else {
      trace.counts = values;
    }
    record_.traces.push_back(std::move(trace));
  }

  void check_length() {
    const auto& stated = rows_.facts.samples;
    if (!stated || stated->value == rows_.lines.size()) return;
    record_.remarks.push_back(
        {"stated length", fmt::format("{}: the header states {} samples in {}, the record has {}", place(),
                                      stated->value, stated->from, rows_.lines.size())});
  }

  std::string place() const {
    return fmt::format("{}, record from line {}", rows_.file, rows_.lines.front());
  }

  TextRecordRows rows_;
  const TextLayout& layout_;
  const TextOptions& options_;
  std::vector<Axis> axes_;
  TextRecord record_;
};

}  // namespace

TextRecord traces_of(TextRecordRows rows, const TextLayout& layout, const TextOptions& options) {
  return TraceMaker(std::move(rows), layout, options).make();
}

}  // namespace firstedge
