// The search for the items of a course, one after the other. For course.cpp.
#pragma once

#include "firstedge/stats/course.hpp"
#include "firstedge/stats/course_model.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// An item that was found, with the probability of one so clear in noise alone.
struct FoundItem {
  CourseItem item;
  double probability = 1;
  std::size_t low = 0, high = 0;  ///< places of a step that hold 68.3 %
};

struct FoundItems {
  std::vector<FoundItem> items;
  bool more = false;  ///< the greatest number was reached with another to add
};

/// As find_course says. values: NaN at gaps.
FoundItems search_course(const CourseModel& model, std::span<const double> values,
                         const CourseOptions& options);

}  // namespace firstedge
