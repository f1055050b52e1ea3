#include "firstedge/stats/course.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/course_search.hpp"
#include "firstedge/stats/least_squares.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

void check(std::span<const double> values, std::span<const double> relative_variance,
           const CourseOptions& options) {
  if (!relative_variance.empty() && relative_variance.size() != values.size())
    throw Error("course", fmt::format("{} values and {} variances", values.size(), relative_variance.size()),
                "give one variance a value, or none");
  if (!(options.false_alarm > 0) || options.false_alarm > 0.5)
    throw Error("course", fmt::format("a share of false alarms of {}", options.false_alarm),
                "give one above 0 and up to 0.5");
}

// Variances with mean 1 over the values that are there; 1 where none are given.
std::vector<double> unit_variances(std::span<const double> values, std::span<const double> given) {
  std::vector<double> variances(values.size(), 1.0);
  double sum = 0;
  double count = 0;
  for (std::size_t t = 0; t < values.size(); ++t) {
    if (!given.empty()) variances[t] = given[t];
    if (!std::isfinite(values[t]) || !std::isfinite(variances[t]) || !(variances[t] > 0)) continue;
    sum += variances[t];
    ++count;
  }
  for (double& variance : variances) variance *= count / sum;
  return variances;
}

// Sizes and uncertainties of the items; a warm-up has a second column for its time constant.
struct Sized {
  std::vector<Estimate> size, log_time_constant;  // by item
  CourseModel::Sizes found;
};

Sized sized(const CourseModel& model, const std::vector<FoundItem>& items) {
  std::vector<CourseItem> plain;
  std::vector<std::vector<double>> columns;
  std::vector<std::size_t> column;  // of each item
  for (const FoundItem& each : items) {
    plain.push_back(each.item);
    column.push_back(columns.size());
    columns.push_back(column_of(each.item, model.points()));
    if (each.item.kind == CourseItem::Kind::warm_up)
      columns.push_back(time_constant_column_of(each.item, model.points()));
  }
  Sized result;
  result.found = model.sizes(model.fit(plain), columns);
  const CourseModel::Sizes& found = result.found;
  const auto deviation = [&](std::size_t c) { return std::sqrt(found.variance[c]); };
  for (std::size_t i = 0; i < items.size(); ++i) {
    const std::size_t c = column[i];
    result.size.push_back({found.size[c], deviation(c), found.degrees_of_freedom});
    // The second column is scaled by the size: its coefficient is size * change of ln(time constant).
    const bool warm_up = items[i].item.kind == CourseItem::Kind::warm_up;
    result.log_time_constant.push_back(
        warm_up ? Estimate{0, deviation(c + 1) / std::abs(found.size[c]), found.degrees_of_freedom}
                : Estimate{});
  }
  return result;
}

// The mean of what the items leave, weighted by the noise, and the items on it.
std::vector<double> level_of(std::span<const double> values, std::span<const double> variances,
                             const std::vector<FoundItem>& items, const std::vector<Estimate>& size) {
  std::vector<double> level(values.size(), 0.0);
  for (std::size_t i = 0; i < items.size(); ++i) {
    const std::vector<double> column = column_of(items[i].item, values.size());
    for (std::size_t t = 0; t < level.size(); ++t) level[t] += size[i].value * column[t];
  }
  double sum = 0;
  double weight = 0;
  for (std::size_t t = 0; t < level.size(); ++t) {
    if (!std::isfinite(values[t]) || !(variances[t] > 0)) continue;
    sum += (values[t] - level[t]) / variances[t];
    weight += 1 / variances[t];
  }
  for (double& value : level) value += sum / weight;
  return level;
}

void put_items(Course& course, const std::vector<FoundItem>& items, const Sized& sized) {
  for (std::size_t i = 0; i < items.size(); ++i) {
    const auto& [item, probability, low, high] = items[i];
    const Estimate& size = sized.size[i];
    switch (item.kind) {
      case CourseItem::Kind::step:
        course.steps.push_back({item.at, low, high, size, probability});
        break;
      case CourseItem::Kind::warm_up:
        course.warm_ups.push_back(
            {item.at,
             size,
             {item.time_constant, item.time_constant * sized.log_time_constant[i].uncertainty,
              size.degrees_of_freedom},
             probability});
        break;
      case CourseItem::Kind::drift:
        course.drift = CourseDrift{size, probability};
        break;
    }
  }
}

}  // namespace

Course find_course(std::span<const double> values, std::span<const double> relative_variance,
                   const CourseOptions& options) {
  check(values, relative_variance, options);
  const std::vector<double> sorted = finite_sorted(values);
  Course course{.points = sorted.size()};
  if (sorted.size() < fewest_for_course || sorted.front() == sorted.back()) {
    course.noise = sorted.empty() ? std::nan("") : moments(sorted).deviation.value;
    course.level.assign(values.size(), moments(sorted).mean.value);
    return course;
  }
  const std::vector<double> variances = unit_variances(values, relative_variance);
  const CourseModel model(values, variances);
  const FoundItems found = search_course(model, values, options);
  const Sized sizes = sized(model, found.items);
  put_items(course, found.items, sizes);
  course.more_items = found.more;
  course.noise = sizes.found.noise;
  course.wander = sizes.found.wander;
  std::vector<CourseItem> plain;
  for (const FoundItem& each : found.items) plain.push_back(each.item);
  const CourseModel::Fit fit = model.fit(plain);
  const double ratio = 2 * (fit.log_likelihood - model.without_wander(fit));
  course.wander_probability = ratio > 0 ? 0.5 * chi_square_probability(ratio, 1) : 1;
  course.level = level_of(values, variances, found.items, sizes.size);
  return course;
}

}  // namespace firstedge
