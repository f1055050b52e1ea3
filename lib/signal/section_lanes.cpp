#include "firstedge/signal/section_lanes.hpp"

#include "firstedge/core/vector_clones.hpp"

#include <algorithm>
#include <array>

namespace firstedge {
namespace {

using Lanes = double
    __attribute__((vector_size(traces_side_by_side * sizeof(double)), aligned(alignof(double)), may_alias));

// So many sections are run by one pass over the samples, their states kept in registers.
constexpr std::size_t most_sections_in_pass = 4;

// Direct form II transposed: what a section makes of a sample, and its state after it.
[[gnu::always_inline]] inline void run_section(const FilterSection& section, Lanes& value, Lanes& state,
                                               Lanes& second) {
  const Lanes out = section.b0 * value + state;
  state = section.b1 * value - section.a1 * out + second;
  second = section.b2 * value - section.a2 * out;
  value = out;
}

// The state in which a section has settled on a value.
[[gnu::always_inline]] inline void settle(const FilterSection& section, const Lanes& value, Lanes& state,
                                          Lanes& second) {
  const Lanes settled = value * (section.b0 + section.b1 + section.b2) / (1 + section.a1 + section.a2);
  second = section.b2 * value - section.a2 * settled;
  state = section.b1 * value - section.a1 * settled + second;
}

template <std::size_t count>
FIRSTEDGE_VECTOR_CLONES void run_pass(const FilterSection* sections, double* first, std::ptrdiff_t step,
                                      std::size_t samples) {
  Lanes state[count], second[count];
  Lanes value = *reinterpret_cast<const Lanes*>(first);
  for (std::size_t k = 0; k < count; ++k) {
    settle(sections[k], value, state[k], second[k]);
    run_section(sections[k], value, state[k], second[k]);  // the next section settles on what comes out
  }
  *reinterpret_cast<Lanes*>(first) = value;
  for (std::size_t i = 1; i < samples; ++i) {
    auto* at = reinterpret_cast<Lanes*>(first + static_cast<std::ptrdiff_t>(i) * step);
    value = *at;
    for (std::size_t k = 0; k < count; ++k) run_section(sections[k], value, state[k], second[k]);
    *at = value;
  }
}

}  // namespace

void run_sections_side_by_side(const std::vector<FilterSection>& sections, SideBySide& samples,
                               bool backwards) {
  const std::size_t count = samples.size() / traces_side_by_side;
  if (count == 0) return;
  constexpr auto width = static_cast<std::ptrdiff_t>(traces_side_by_side);
  double* first = samples.data() + (backwards ? static_cast<std::ptrdiff_t>(count - 1) * width : 0);
  const std::ptrdiff_t step = backwards ? -width : width;
  constexpr std::array passes{run_pass<1>, run_pass<2>, run_pass<3>, run_pass<4>};
  for (std::size_t done = 0; done < sections.size();) {
    const std::size_t together = std::min(sections.size() - done, most_sections_in_pass);
    passes[together - 1](sections.data() + done, first, step, count);
    done += together;
  }
}

}  // namespace firstedge
