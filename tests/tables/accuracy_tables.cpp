// The tables of docs/accuracy.md: each method in noise of each colour, at each sampling and number of bits.
// Run by scripts/accuracy-tables.
#include "support/noisy_scenes.hpp"

#include <cstdio>
#include <cstdlib>

namespace firstedge::test {
namespace {

void print(const NoisyScene& scene, const NoisyOutcome& row) {
  const Tally& times = row.trusted;
  std::printf("| %s | %s | %.2g | %d | ", row.method.c_str(), scene.colour.c_str(), 1e-9 / scene.interval_s,
              scene.bits);
  if (times.count() < row.pulses / 20) {
    std::printf("- | - | - | - | %.1f |\n", 100 * row.share_flagged());
  } else {
    std::printf("%.3f | %.2f ± %.2f | %.1f | %.1f | %.1f |\n", row.over_bound(), times.bias_s() * 1e12,
                times.bias_error_s() * 1e12, 100 * times.within_one(), 100 * times.within_two(),
                100 * row.share_flagged());
  }
  std::fflush(stdout);
}

}  // namespace
}  // namespace firstedge::test

int main(int argc, char** argv) {
  using namespace firstedge::test;
  const std::size_t pulses = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 20000;
  std::printf(
      "| method | noise | GS/s | bits | error / bound | bias / ps | in 1 u / %% | in 2 u / %% | flagged / %% "
      "|\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
  std::uint64_t seed = 1;
  for (const NoiseColour& colour : noise_colours(4e-3)) {
    for (const double interval_s : {0.1e-9, 0.2e-9, 0.4e-9}) {
      for (const int bits : {12, 8}) {
        const NoisyScene scene{colour.name, colour.noise, colour.lines_taken_out, interval_s, bits, seed++};
        for (const NoisyOutcome& row : outcomes_of(scene, pulses)) print(scene, row);
      }
    }
  }
  return 0;
}
