#include "firstedge/core/applied_delay.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

std::vector<DelayTerm> combined(std::span<const DelayTerm> first, std::span<const DelayTerm> second,
                                double sign) {
  std::vector<DelayTerm> terms(first.begin(), first.end());
  for (const DelayTerm& term : second) {
    const auto same = std::find_if(terms.begin(), terms.end(),
                                   [&](const DelayTerm& one) { return is_same_quantity(one, term); });
    if (same != terms.end()) {
      same->sensitivity += sign * term.sensitivity;
    } else {
      terms.push_back(term);
      terms.back().sensitivity *= sign;
    }
  }
  return terms;
}

}  // namespace

double DelayTerm::contribution_s() const {
  return std::abs(sensitivity) * input.uncertainty;
}

bool is_same_quantity(const DelayTerm& a, const DelayTerm& b) {
  return a.name == b.name && a.unit == b.unit && a.input.value == b.input.value &&
         a.input.uncertainty == b.input.uncertainty &&
         a.input.degrees_of_freedom == b.input.degrees_of_freedom && a.distribution == b.distribution &&
         a.measured == b.measured;
}

std::vector<DelayTerm> difference_of(std::span<const DelayTerm> first, std::span<const DelayTerm> second) {
  return combined(first, second, -1);
}

std::vector<DelayTerm> sum_of(std::span<const DelayTerm> first, std::span<const DelayTerm> second) {
  return combined(first, second, 1);
}

}  // namespace firstedge
