#include "firstedge/compare/choice.hpp"

#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace firstedge {
namespace {

constexpr std::size_t fewest_rows = 20;
constexpr int most_turns = 10;

using Wanted = std::function<bool(const Candidate&)>;

std::vector<std::size_t> well_supplied(const CandidateStamps& stamps, std::size_t channel,
                                       double fewest_share) {
  std::uint64_t most = 0;
  for (std::size_t c = 0; c < stamps.candidates().size(); ++c)
    most = std::max(most, stamps.column(channel, c).usable);
  std::vector<std::size_t> taking_part;
  for (std::size_t c = 0; c < stamps.candidates().size() && most > 0; ++c) {
    if (static_cast<double>(stamps.column(channel, c).usable) >= fewest_share * static_cast<double>(most))
      taking_part.push_back(c);
  }
  return taking_part;
}

std::vector<std::size_t> only(const CandidateStamps& stamps, const std::vector<std::size_t>& candidates,
                              const Wanted& wanted) {
  std::vector<std::size_t> kept;
  std::copy_if(candidates.begin(), candidates.end(), std::back_inserter(kept),
               [&](std::size_t c) { return wanted(stamps.candidates()[c]); });
  return kept;
}

// Chooses by turns among the candidates of either channel.
class Chooser {
 public:
  Chooser(const CandidateStamps& stamps, const CommonGround& ground) : stamps_(stamps), ground_(ground) {}

  double spread(std::size_t of_first, std::size_t of_second) const {
    return central_half_width(differences(stamps_, ground_, ground_.choosing, of_first, of_second));
  }

  Contender best(const std::string& name, const Wanted& wanted) const {
    const std::vector<std::size_t> of_first = only(stamps_, ground_.of_first, wanted),
                                   of_second = only(stamps_, ground_.of_second, wanted);
    Contender choice{.name = name, .chosen_s = std::numeric_limits<double>::infinity()};
    const auto try_out = [&](std::size_t a, std::size_t b) {
      const double width = spread(a, b);
      if (width < choice.chosen_s) choice = {name, a, b, width};
    };
    for (const std::size_t a : of_first) {  // the same settings on both, to begin with
      if (std::find(of_second.begin(), of_second.end(), a) != of_second.end()) try_out(a, a);
    }
    if (std::isinf(choice.chosen_s) && !of_first.empty() && !of_second.empty())
      try_out(of_first.front(), of_second.front());
    for (int turn = 0; turn < most_turns && std::isfinite(choice.chosen_s); ++turn) {
      const double before = choice.chosen_s;
      for (const std::size_t a : of_first) try_out(a, choice.of_second);
      for (const std::size_t b : of_second) try_out(choice.of_first, b);
      if (choice.chosen_s == before) break;
    }
    return choice;
  }

 private:
  const CandidateStamps& stamps_;
  const CommonGround& ground_;
};

}  // namespace

CommonGround common_ground(const CandidateStamps& stamps, std::size_t first, std::size_t second,
                           double fewest_share) {
  CommonGround ground{.first = first,
                      .second = second,
                      .of_first = well_supplied(stamps, first, fewest_share),
                      .of_second = well_supplied(stamps, second, fewest_share)};
  const auto usable = [&](std::size_t channel, std::size_t row) {
    return [&stamps, channel, row](std::size_t c) {
      return std::isfinite(stamps.column(channel, c).time_s[row]);
    };
  };
  for (std::size_t row = 0; row < stamps.records().size(); ++row) {
    const auto of_first = usable(first, row), of_second = usable(second, row);
    ground.with_both += std::any_of(ground.of_first.begin(), ground.of_first.end(), of_first) &&
                                std::any_of(ground.of_second.begin(), ground.of_second.end(), of_second)
                            ? 1
                            : 0;
    if (ground.of_first.empty() || ground.of_second.empty() ||
        !std::all_of(ground.of_first.begin(), ground.of_first.end(), of_first) ||
        !std::all_of(ground.of_second.begin(), ground.of_second.end(), of_second))
      continue;
    (is_for_choosing(stamps.records()[row]) ? ground.choosing : ground.judging).push_back(row);
  }
  return ground;
}

std::vector<double> differences(const CandidateStamps& stamps, const CommonGround& ground,
                                const std::vector<std::size_t>& rows, std::size_t of_first,
                                std::size_t of_second) {
  const std::vector<double>& a = stamps.column(ground.first, of_first).time_s;
  const std::vector<double>& b = stamps.column(ground.second, of_second).time_s;
  std::vector<double> values;
  values.reserve(rows.size());
  for (const std::size_t row : rows) values.push_back(a[row] - b[row]);
  return values;
}

std::vector<Contender> choose_contenders(const CandidateStamps& stamps, const CommonGround& ground) {
  std::vector<Contender> contenders;
  if (ground.choosing.size() < fewest_rows || ground.judging.size() < fewest_rows) return contenders;
  const Chooser chooser(stamps, ground);
  std::vector<std::string> names;
  for (const Candidate& candidate : stamps.candidates()) {
    const std::string name = kind_of(candidate) + (candidate.filtered() ? ", filtered" : "");
    if (std::find(names.begin(), names.end(), name) != names.end()) continue;
    names.push_back(name);
    Contender best = chooser.best(name, [&](const Candidate& each) {
      return kind_of(each) == kind_of(candidate) && each.filtered() == candidate.filtered();
    });
    if (std::isfinite(best.chosen_s)) contenders.push_back(std::move(best));
  }
  Contender overall = chooser.best("each channel its own", [](const Candidate&) { return true; });
  const bool another = std::none_of(contenders.begin(), contenders.end(), [&](const Contender& each) {
    return each.of_first == overall.of_first && each.of_second == overall.of_second;
  });
  if (another && !contenders.empty()) contenders.push_back(std::move(overall));
  std::stable_sort(contenders.begin(), contenders.end(),
                   [](const Contender& a, const Contender& b) { return a.chosen_s < b.chosen_s; });
  return contenders;
}

}  // namespace firstedge
