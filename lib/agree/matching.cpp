#include "firstedge/agree/matching.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <tuple>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double widths_of_uncertainty = 6;
constexpr double worth_doubling = 4.0 / 3;
// Of the window, where no uncertainty is known.
constexpr double narrowest_share = 1e-2;

bool is_before(const Instant& a, const Instant& b) {
  return std::tie(a.seconds, a.femtoseconds) < std::tie(b.seconds, b.femtoseconds);
}

std::vector<std::size_t> in_order(const std::vector<Instant>& instants) {
  std::vector<std::size_t> order(instants.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return is_before(instants[a], instants[b]); });
  return order;
}

void check(const InstantList& first, const InstantList& second, const MatchOptions& options) {
  if (!(options.window_s > 0) || !std::isfinite(options.window_s))
    throw Error("window", fmt::format("is {} s", options.window_s), "give a time above 0");
  const auto scale_of = [](const InstantList& list) { return list.instants.front().scale; };
  for (const InstantList* list : {&first, &second}) {
    if (list->instants.empty()) throw Error(list->name, "has no instants", "give a list with arrivals");
    for (const Instant& one : list->instants) {
      if (one.scale != scale_of(first))
        throw Error(list->name, "has instants on another time scale than the first of all",
                    "bring both lists onto one scale");
    }
  }
}

// All pairs within the window, in order of the first list.
std::vector<Match> candidates_of(const InstantList& first, const InstantList& second, double expected_s,
                                 double window_s) {
  const std::vector<std::size_t> a = in_order(first.instants), b = in_order(second.instants);
  std::vector<Match> candidates;
  std::size_t begin = 0;
  for (const std::size_t i : a) {
    const auto difference = [&](std::size_t place) {
      return difference_s(second.instants[b[place]], first.instants[i]) - expected_s;
    };
    while (begin < b.size() && difference(begin) < -window_s) ++begin;
    for (std::size_t j = begin; j < b.size() && difference(j) <= window_s; ++j) {
      if (candidates.size() == most_candidates)
        throw Error("matching", fmt::format("more than {} pairs lie within the window", most_candidates),
                    "narrow the window");
      candidates.push_back({.first = i, .second = b[j], .difference_s = difference(j)});
    }
  }
  return candidates;
}

struct Gathering {
  std::size_t begin = 0, count = 0;
};

// The most differences within any interval of this width whose middle keeps `apart` from `centre`.
Gathering densest(const std::vector<double>& sorted, double width, double centre, double apart) {
  Gathering best;
  std::size_t begin = 0;
  for (std::size_t end = 0; end < sorted.size(); ++end) {
    while (sorted[end] - sorted[begin] > width) ++begin;
    const double middle = (sorted[end] + sorted[begin]) / 2;
    if (end - begin + 1 > best.count && std::abs(middle - centre) >= apart)
      best = {.begin = begin, .count = end - begin + 1};
  }
  return best;
}

double combined_uncertainty_s(const InstantList& first, const InstantList& second) {
  const double a = median(first.uncertainty_s), b = median(second.uncertainty_s);
  return std::hypot(std::isnan(a) ? 0 : a, std::isnan(b) ? 0 : b);
}

double median_of(const std::vector<double>& sorted, const Gathering& where) {
  return quantile_of_sorted(std::span(sorted).subspan(where.begin, where.count), 0.5);
}

// Fills in where the differences gather.
void find_place(Matching& matching, const std::vector<double>& sorted, double first_width, double window_s) {
  double width = first_width;
  Gathering best = densest(sorted, width, 0, 0);
  for (Gathering wider = densest(sorted, 2 * width, 0, 0);
       2 * width<window_s&& static_cast<double>(wider.count)> worth_doubling *
       static_cast<double>(best.count);
       wider = densest(sorted, 2 * width, 0, 0)) {
    width *= 2;
    best = wider;
  }
  matching.centre_s = median_of(sorted, best);
  const auto near_begin = std::lower_bound(sorted.begin(), sorted.end(), matching.centre_s - width);
  const auto near_end = std::upper_bound(sorted.begin(), sorted.end(), matching.centre_s + width);
  const double spread_s = scaled_median_deviation({near_begin, near_end});
  matching.half_width_s = std::max(width, widths_of_uncertainty * spread_s);
  const Gathering rival = densest(sorted, width, matching.centre_s, matching.half_width_s + width);
  if (rival.count == 0) return;
  matching.rival_s = median_of(sorted, rival);
  matching.rival_share = static_cast<double>(rival.count) / static_cast<double>(best.count);
}

}  // namespace

Matching match_instants(const InstantList& first, const InstantList& second, double expected_s,
                        const MatchOptions& options) {
  check(first, second, options);
  const std::vector<Match> candidates = candidates_of(first, second, expected_s, options.window_s);
  Matching matching;
  std::vector<std::size_t> partners_first(first.instants.size()), partners_second(second.instants.size());
  if (!candidates.empty()) {
    std::vector<double> sorted;
    for (const Match& one : candidates) sorted.push_back(one.difference_s);
    std::sort(sorted.begin(), sorted.end());
    const double uncertainty_s = combined_uncertainty_s(first, second);
    find_place(matching, sorted,
               uncertainty_s > 0 ? widths_of_uncertainty * uncertainty_s : narrowest_share * options.window_s,
               options.window_s);
  }
  const auto is_near = [&](const Match& one) {
    return std::abs(one.difference_s - matching.centre_s) <= matching.half_width_s;
  };
  for (const Match& one : candidates) {
    if (!is_near(one)) continue;
    ++partners_first[one.first];
    ++partners_second[one.second];
  }
  std::vector<bool> doubtful_first(partners_first.size()), doubtful_second(partners_second.size());
  for (const Match& one : candidates) {
    if (!is_near(one)) continue;
    if (partners_first[one.first] == 1 && partners_second[one.second] == 1) {
      matching.pairs.push_back(one);
    } else {
      doubtful_first[one.first] = doubtful_second[one.second] = true;
    }
  }
  const auto count_of = [](const auto& flags, auto wanted) {
    return static_cast<std::size_t>(std::count(flags.begin(), flags.end(), wanted));
  };
  matching.unmatched_first = count_of(partners_first, std::size_t{0});
  matching.unmatched_second = count_of(partners_second, std::size_t{0});
  matching.doubly_first = count_of(doubtful_first, true);
  matching.doubly_second = count_of(doubtful_second, true);
  return matching;
}

}  // namespace firstedge
