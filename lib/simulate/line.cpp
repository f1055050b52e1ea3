#include "firstedge/simulate/line.hpp"

#include "firstedge/signal/skin_line.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

using Complex = std::complex<double>;

constexpr double largest_reflection = 0.9;
constexpr std::size_t most_mismatches = 100;

double end_reflection(LinePlan::End end) {
  switch (end) {
    case LinePlan::End::matched:
      return 0;
    case LinePlan::End::open:
      return 1;
    case LinePlan::End::shorted:
      return -1;
  }
  return 0;
}

// The piece of line before mismatch i, or, for the last, before the end.
SkinLine piece_before(const LinePlan& line, std::size_t i) {
  const double from = i == 0 ? 0 : line.mismatches[i - 1].position;
  const double to = i == line.mismatches.size() ? 1 : line.mismatches[i].position;
  return {(to - from) * line.delay_s, (to - from) * std::sqrt(line.skin_s)};
}

double checked(const Settings& settings, const std::string& name) {
  const double value = settings.quantity(name, "s", 0);
  if (!(value >= 0) || !std::isfinite(value))
    settings.refuse(name, "is below zero", "give zero or a positive quantity");
  return value;
}

MismatchPlan mismatch_plan(const Settings& settings, double least_position) {
  MismatchPlan plan;
  plan.position = settings.number("position", plan.position);
  plan.reflection = settings.number("reflection", plan.reflection);
  if (!(plan.position >= least_position && plan.position <= 1))
    settings.refuse("position", "is out of order or no share of the line's delay",
                    "give positions from 0 to 1 in rising order");
  if (!(std::abs(plan.reflection) < largest_reflection))
    settings.refuse("reflection", "is too large", "give a share of the voltage between -0.9 and 0.9");
  settings.finish();
  return plan;
}

}  // namespace

std::complex<double> line_response(const LinePlan& line, double angular_frequency) {
  // From the end to the source: looking[i] is the reflection seen at the start of the piece before mismatch
  // i.
  const std::size_t pieces = line.mismatches.size() + 1;
  std::vector<Complex> looking(pieces), along(pieces);
  for (std::size_t i = pieces; i-- > 0;) {
    along[i] = piece_before(line, i).transfer(angular_frequency);
    Complex at_its_end = end_reflection(line.end);
    if (i + 1 < pieces) {
      const double rho = line.mismatches[i].reflection;
      at_its_end = (rho + looking[i + 1]) / (1.0 + rho * looking[i + 1]);
    }
    looking[i] = at_its_end * along[i] * along[i];
  }
  if (line.seen == LinePlan::Seen::near_end) return 1.0 + looking[0];
  Complex wave = 1;
  for (std::size_t i = 0; i < pieces; ++i) {
    wave *= along[i];
    if (i + 1 == pieces) break;
    const double rho = line.mismatches[i].reflection;
    wave *= (1 + rho) / (1.0 + rho * looking[i + 1]);
  }
  return wave * (1 + end_reflection(line.end));
}

double line_lasts_s(const LinePlan& line) {
  constexpr double rest = 1e-6;
  double largest = 0;
  for (const MismatchPlan& mismatch : line.mismatches)
    largest = std::max(largest, std::abs(mismatch.reflection));
  // A wave that goes to and fro once more meets a mismatch and the end (or another mismatch).
  const double once_more = largest * std::max(std::abs(end_reflection(line.end)), largest);
  const double more = once_more > 0 ? std::ceil(std::log(rest) / std::log(once_more)) : 0;
  return 2 * line.delay_s * (1 + more);
}

LinePlan line_plan(const Settings& settings) {
  LinePlan plan;
  plan.delay_s = checked(settings, "delay");
  plan.skin_s = checked(settings, "skin");
  const std::string end = settings.choice("end", "matched", {"matched", "open", "shorted"});
  if (end == "open") plan.end = LinePlan::End::open;
  if (end == "shorted") plan.end = LinePlan::End::shorted;
  if (settings.choice("seen_at", "far_end", {"far_end", "near_end"}) == "near_end")
    plan.seen = LinePlan::Seen::near_end;
  if (plan.seen == LinePlan::Seen::far_end && plan.end == LinePlan::End::shorted)
    settings.refuse("seen_at", "is the far end of a shorted line, where there is no voltage",
                    "give \"near_end\", or another end");
  const std::vector<Settings> mismatches = settings.groups("mismatches");
  if (mismatches.size() > most_mismatches) settings.refuse("mismatches", "are too many", "give at most 100");
  double least_position = 0;
  for (const Settings& group : mismatches) {
    plan.mismatches.push_back(mismatch_plan(group, least_position));
    least_position = plan.mismatches.back().position;
  }
  settings.finish();
  return plan;
}

}  // namespace firstedge
