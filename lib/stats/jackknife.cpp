#include "firstedge/stats/jackknife.hpp"

#include <cmath>
#include <limits>

namespace firstedge {

std::vector<double> jackknife(std::size_t groups,
                              const std::function<std::vector<double>(std::size_t)>& figures_without) {
  std::vector<std::vector<double>> all;
  for (std::size_t g = 0; g < groups; ++g) all.push_back(figures_without(g));
  if (all.empty()) return {};
  const auto count = static_cast<double>(groups);
  std::vector<double> uncertainties;
  for (std::size_t i = 0; i < all.front().size(); ++i) {
    double mean = 0, squares = 0;
    for (const std::vector<double>& figures : all) mean += figures[i] / count;
    for (const std::vector<double>& figures : all) squares += (figures[i] - mean) * (figures[i] - mean);
    uncertainties.push_back(groups < fewest_jackknife_groups ? std::numeric_limits<double>::quiet_NaN()
                                                             : std::sqrt((count - 1) / count * squares));
  }
  return uncertainties;
}

}  // namespace firstedge
