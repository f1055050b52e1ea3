#include "firstedge/timing/gram_polynomials.hpp"

#include <cassert>

namespace firstedge {
namespace {

// Where the rows of `count` points begin among those of all counts.
constexpr std::size_t begin_of(std::size_t count) {
  return count * (count - 1) / 2;
}

constexpr std::array<GramBasis, most_ready_points + 1> bases = [] {
  std::array<GramBasis, most_ready_points + 1> made{};
  for (std::size_t count = 1; count <= most_ready_points; ++count) made[count] = gram_basis(count);
  return made;
}();

constexpr std::array<GramTerms, begin_of(most_ready_points + 1)> rows = [] {
  std::array<GramTerms, begin_of(most_ready_points + 1)> made{};
  for (std::size_t count = 1; count <= most_ready_points; ++count)
    for (std::size_t k = 0; k < count; ++k)
      made[begin_of(count) + k] = bases[count].at(static_cast<double>(k) - bases[count].middle);
  return made;
}();

}  // namespace

const GramBasis& ready_gram_basis(std::size_t count) {
  assert(count <= most_ready_points);
  return bases[count];
}

std::span<const GramTerms> ready_gram_rows(std::size_t count) {
  assert(count <= most_ready_points);
  return std::span(rows).subspan(begin_of(count), count);
}

}  // namespace firstedge
