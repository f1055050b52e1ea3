#include "firstedge/stats/course_search.hpp"

#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>

#include <boost/math/distributions/fisher_f.hpp>

namespace firstedge {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
using Items = std::vector<CourseItem>;
using Kind = CourseItem::Kind;

// The share of false alarms is spread over the kinds: a half for steps, the rest for the others. The ratio of
// wander to noise is not known but found, which makes false alarms in a faint wander some three times as
// frequent, those of a drift ten times (simulated): the tries count that much more.
constexpr double tries_of_step = 6;
constexpr double tries_of_warm_up = 12;
constexpr double tries_of_drift = 40;
// Neighbours on the grid of time constants; the likelihood between them is nearly that of the nearer.
constexpr double time_constant_spacing = 1.5;
constexpr double least_time_constant = 1;
constexpr std::size_t fewest_in_warm_up = 8;

struct Candidate {
  CourseItem item;
  double log_likelihood = -infinity;
  double tries = 1;

  double score() const { return log_likelihood - std::log(tries); }
};

class Search {
 public:
  Search(const CourseModel& model, std::span<const double> values, const CourseOptions& options)
      : model_(model), options_(options) {
    for (std::size_t t = 0; t < values.size(); ++t) {
      if (std::isfinite(values[t])) present_.push_back(t);
    }
  }

  FoundItems run() {
    FoundItems found;
    Items items;
    // Every round adds an item or ends; what is taken out again is tried a few times at most.
    for (std::size_t round = 0; round < 3 * options_.most_items; ++round) {
      Items grown = grown_by_clear(items);
      if (grown == items) break;
      if (grown.size() > options_.most_items) {
        found.more = true;
        break;
      }
      items = std::move(grown);
    }
    std::sort(items.begin(), items.end(),
              [](const CourseItem& a, const CourseItem& b) { return a.at < b.at; });
    for (std::size_t i = 0; i < items.size(); ++i) found.items.push_back(judged(items, i));
    return found;
  }

 private:
  // With the item that is clearest, or with two that are clear together only, such as a step and the step
  // back; unchanged where nothing is clear.
  Items grown_by_clear(const Items& items) const {
    Items grown = items;
    double tries = 1;
    for (int added = 0; added < 2; ++added) {
      const Candidate best = best_candidate(grown);
      if (best.log_likelihood == -infinity) break;
      tries *= best.tries;
      grown.push_back(best.item);
      const Items settled = refined(grown);
      if (probability(items, settled, tries) < options_.false_alarm) return pruned(settled);
    }
    return items;
  }

  // Of items beyond `few` as clear as those of `many` in noise alone, tried at so many places: the F test of
  // the likelihood ratio.
  double probability(const Items& few, const Items& many, double tries) const {
    const double gain = model_.fit(many).log_likelihood - model_.fit(few).log_likelihood;
    const double left = model_.freedom() - static_cast<double>(many.size());
    if (!(gain > 0) || left < 1) return 1;
    const auto more = static_cast<double>(many.size() - few.size());
    const boost::math::fisher_f distribution(more, left);
    const double f = left / more * std::expm1(2 * gain / model_.freedom());
    return std::min(1.0, tries * boost::math::cdf(boost::math::complement(distribution, f)));
  }

  Candidate best_candidate(const Items& items) const {
    const CourseModel::Fit fit = model_.fit(items);
    Candidate best = best_step(fit, items);
    const auto take = [&](const Candidate& other) {
      if (other.score() > best.score()) best = other;
    };
    for (const std::size_t start : warm_up_starts(items)) take(best_warm_up(fit, items, start));
    const bool drifts = std::any_of(items.begin(), items.end(),
                                    [](const CourseItem& item) { return item.kind == Kind::drift; });
    const CourseItem drift{.kind = Kind::drift};
    if (!drifts) take({drift, likelihood(fit, drift), tries_of_drift});
    return best;
  }

  double likelihood(const CourseModel::Fit& fit, const CourseItem& item) const {
    return model_.with_column(fit, column_of(item, model_.points()));
  }

  // Places for one more step: values on either side, as many as the header says.
  std::vector<std::size_t> places(const Items& items) const {
    std::vector<std::size_t> edges{0, present_.size()};
    for (const CourseItem& item : items) {
      if (item.kind == Kind::step) edges.push_back(index_of(item.at));
    }
    std::vector<std::size_t> free;
    for (std::size_t i = 0; i < present_.size(); ++i) {
      const bool beside = std::any_of(edges.begin(), edges.end(), [&](std::size_t edge) {
        return (i > edge ? i - edge : edge - i) < fewest_beside_step;
      });
      if (!beside) free.push_back(present_[i]);
    }
    return free;
  }

  std::size_t index_of(std::size_t at) const {
    return static_cast<std::size_t>(std::lower_bound(present_.begin(), present_.end(), at) -
                                    present_.begin());
  }

  Candidate best_step(const CourseModel::Fit& fit, const Items& items) const {
    Candidate best;
    const std::vector<std::size_t> free = places(items);
    best.tries = tries_of_step * static_cast<double>(std::max<std::size_t>(free.size(), 1));
    const std::vector<double> likelihoods = model_.with_step(fit);
    for (const std::size_t k : free) {
      if (likelihoods[k] <= best.log_likelihood) continue;
      best.log_likelihood = likelihoods[k];
      best.item = {.kind = Kind::step, .at = k};
    }
    return best;
  }

  // The beginning, the ends of gaps, and steps, where no warm-up begins yet.
  std::vector<std::size_t> warm_up_starts(const Items& items) const {
    std::vector<std::size_t> starts{present_.front()};
    for (std::size_t i = 1; i < present_.size(); ++i) {
      if (present_[i] - present_[i - 1] > longest_gap_bridged) starts.push_back(present_[i]);
    }
    for (const CourseItem& item : items) {
      if (item.kind == Kind::step) starts.push_back(item.at);
    }
    std::sort(starts.begin(), starts.end());
    starts.erase(std::unique(starts.begin(), starts.end()), starts.end());
    std::erase_if(starts, [&](std::size_t start) {
      return std::any_of(items.begin(), items.end(), [&](const CourseItem& item) {
        return item.kind == Kind::warm_up && item.at == start;
      });
    });
    return starts;
  }

  std::vector<double> time_constants(std::size_t start) const {
    std::vector<double> grid;
    if (present_.size() - index_of(start) < fewest_in_warm_up) return grid;
    const double longest = static_cast<double>(present_.back() - start) / 3;
    for (double tau = least_time_constant; tau <= longest; tau *= time_constant_spacing) grid.push_back(tau);
    return grid;
  }

  Candidate best_warm_up(const CourseModel::Fit& fit, const Items& items, std::size_t start) const {
    Candidate best;
    const std::vector<double> grid = time_constants(start);
    const std::size_t tries = grid.size() * warm_up_starts(items).size();
    best.tries = tries_of_warm_up * static_cast<double>(std::max<std::size_t>(tries, 1));
    for (const double tau : grid) {
      const CourseItem item{.kind = Kind::warm_up, .at = start, .time_constant = tau};
      const double found = likelihood(fit, item);
      if (found <= best.log_likelihood) continue;
      best.log_likelihood = found;
      best.item = item;
    }
    return best;
  }

  static Items without(const Items& items, std::size_t i) {
    Items rest = items;
    rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(i));
    return rest;
  }

  // Every item moved to where it is likeliest beside the others, until none moves.
  Items refined(Items items) const {
    constexpr int most_passes = 4;
    for (int pass = 0; pass < most_passes; ++pass) {
      const Items before = items;
      for (std::size_t i = 0; i < items.size(); ++i) {
        const Items rest = without(items, i);
        if (items[i].kind == Kind::step) {
          const Candidate best = best_step(model_.fit(rest), rest);
          if (best.log_likelihood > -infinity) items[i] = best.item;
        }
        if (items[i].kind == Kind::warm_up) items[i].time_constant = likeliest(items[i], model_.fit(rest));
      }
      if (items == before) break;
    }
    return items;
  }

  // Golden section in the logarithm of the time constant, to 1e-3, within one step of the grid to either
  // side.
  double likeliest(const CourseItem& item, const CourseModel::Fit& rest) const {
    const double golden = 0.5 * (std::sqrt(5.0) - 1);
    const auto at = [&](double log_tau) {
      return likelihood(rest, {.kind = Kind::warm_up, .at = item.at, .time_constant = std::exp(log_tau)});
    };
    double low = std::log(std::max(item.time_constant / time_constant_spacing, 0.5 * least_time_constant));
    double high = std::log(item.time_constant * time_constant_spacing);
    double left = high - golden * (high - low);
    double right = low + golden * (high - low);
    double at_left = at(left);
    double at_right = at(right);
    while (high - low > 1e-3) {
      if (at_left > at_right) {
        high = right;
        right = left;
        at_right = at_left;
        at_left = at(left = high - golden * (high - low));
      } else {
        low = left;
        left = right;
        at_left = at_right;
        at_right = at(right = low + golden * (high - low));
      }
    }
    return std::exp(0.5 * (low + high));
  }

  double tries_of(const CourseItem& item, const Items& rest) const {
    if (item.kind == Kind::drift) return tries_of_drift;
    if (item.kind == Kind::step)
      return tries_of_step * static_cast<double>(std::max<std::size_t>(places(rest).size(), 1));
    const std::size_t tries = time_constants(item.at).size() * warm_up_starts(rest).size();
    return tries_of_warm_up * static_cast<double>(std::max<std::size_t>(tries, 1));
  }

  double probability_of(const Items& items, std::size_t i) const {
    const Items rest = without(items, i);
    return probability(rest, items, tries_of(items[i], rest));
  }

  // Without the items that the others have made unclear, the least clear first.
  Items pruned(Items items) const {
    while (!items.empty()) {
      std::size_t worst = 0;
      double largest = -1;
      for (std::size_t i = 0; i < items.size(); ++i) {
        const double unclear = probability_of(items, i);
        if (unclear > largest) {
          largest = unclear;
          worst = i;
        }
      }
      if (largest < options_.false_alarm) break;
      items = refined(without(items, worst));
    }
    return items;
  }

  FoundItem judged(const Items& items, std::size_t i) const {
    FoundItem found{.item = items[i], .probability = probability_of(items, i)};
    found.low = found.high = items[i].at;
    if (items[i].kind != Kind::step) return found;
    const Items rest = without(items, i);
    const std::vector<double> likelihoods = model_.with_step(model_.fit(rest));
    const std::vector<std::size_t> free = places(rest);
    std::vector<double> weights;
    for (const std::size_t k : free) weights.push_back(std::exp(likelihoods[k] - likelihoods[items[i].at]));
    const double whole = std::accumulate(weights.begin(), weights.end(), 0.0);
    double passed = 0;
    for (std::size_t j = 0; j < free.size(); ++j) {
      const double before = passed / whole;
      passed += weights[j];
      if (before < 0.5 * (1 - share_within_one_sigma)) found.low = free[j];
      if (before < 0.5 * (1 + share_within_one_sigma)) found.high = free[j];
    }
    return found;
  }

  const CourseModel& model_;
  const CourseOptions& options_;
  std::vector<std::size_t> present_;
};

}  // namespace

FoundItems search_course(const CourseModel& model, std::span<const double> values,
                         const CourseOptions& options) {
  return Search(model, values, options).run();
}

}  // namespace firstedge
