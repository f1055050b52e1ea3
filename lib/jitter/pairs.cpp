#include "firstedge/jitter/pairs.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

void refuse(PairAccount& account, Refusal reason, FlagSet flags) {
  switch (reason) {
    case Refusal::none:
      break;
    case Refusal::flagged:
      ++account.flagged;
      for (std::size_t i = 0; i < flag_table.size(); ++i) account.by_flag[i] += flags.has(flag_table[i].flag);
      break;
    case Refusal::no_time:
      ++account.no_time;
      break;
    case Refusal::height:
      ++account.height;
      break;
  }
}

}  // namespace

Refusal refusal_of(const StampColumn& column, std::size_t row, const StampChoice& choice) {
  if ((column.flags[row].bits() & ~choice.allowed_flags.bits()) != 0) return Refusal::flagged;
  if (!std::isfinite(column.time_s[row])) return Refusal::no_time;
  // A height that is not known fails only where a range is asked for.
  const double height = column.height_v[row];
  if (height < choice.lowest_height_v || height > choice.highest_height_v) return Refusal::height;
  const bool any_height = choice.lowest_height_v <= 0 && std::isinf(choice.highest_height_v);
  return std::isnan(height) && !any_height ? Refusal::height : Refusal::none;
}

PairSample pair_sample(const JitterStamps& stamps, std::size_t method, std::size_t first, std::size_t second,
                       const StampChoice& choice) {
  PairSample sample{
      .name = stamps.channels()[first] + " − " + stamps.channels()[second], .first = first, .second = second};
  const StampColumn& a = stamps.column(first, method);
  const StampColumn& b = stamps.column(second, method);
  PairAccount& account = sample.account;
  std::size_t i = 0;
  std::size_t j = 0;
  while (i < a.size() || j < b.size()) {
    if (j == b.size() || (i < a.size() && a.record[i] < b.record[j])) {
      ++account.only_first;
      ++i;
      continue;
    }
    if (i == a.size() || b.record[j] < a.record[i]) {
      ++account.only_second;
      ++j;
      continue;
    }
    ++account.in_both;
    const Refusal reason = std::min(refusal_of(a, i, choice), refusal_of(b, j, choice));
    if (reason == Refusal::none) {
      ++account.used;
      sample.record.push_back(a.record[i]);
      sample.difference_s.push_back(a.time_s[i] - b.time_s[j]);
      sample.stated_s.push_back(std::hypot(a.uncertainty_s[i], b.uncertainty_s[j]));
      sample.bound_s.push_back(std::hypot(a.bound_s[i], b.bound_s[j]));
      // Written so that NaN on either side gives NaN.
      sample.lower_height_v.push_back(std::isnan(a.height_v[i]) ? a.height_v[i]
                                                                : std::min(b.height_v[j], a.height_v[i]));
    } else {
      const FlagSet refused =
          FlagSet::from_bits((a.flags[i] | b.flags[j]).bits() & ~choice.allowed_flags.bits());
      refuse(account, reason, refused);
    }
    ++i;
    ++j;
  }
  return sample;
}

std::vector<std::vector<double>> common_times(const JitterStamps& stamps, std::size_t method,
                                              std::span<const std::size_t> channels,
                                              const StampChoice& choice) {
  std::vector<std::vector<double>> times(channels.size());
  std::vector<std::size_t> row(channels.size(), 0);
  const StampColumn& lead = stamps.column(channels.front(), method);
  for (std::size_t i = 0; i < lead.size(); ++i) {
    bool usable = true;
    for (std::size_t c = 0; c < channels.size() && usable; ++c) {
      const StampColumn& column = stamps.column(channels[c], method);
      while (row[c] < column.size() && column.record[row[c]] < lead.record[i]) ++row[c];
      usable = row[c] < column.size() && column.record[row[c]] == lead.record[i] &&
               refusal_of(column, row[c], choice) == Refusal::none;
    }
    if (!usable) continue;
    for (std::size_t c = 0; c < channels.size(); ++c)
      times[c].push_back(stamps.column(channels[c], method).time_s[row[c]]);
  }
  return times;
}

}  // namespace firstedge
