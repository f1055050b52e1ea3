#include "firstedge/compare/candidates.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_columns = 65'536;

bool same(double a, double b) {
  return a == b || (std::isnan(a) && std::isnan(b));
}

}  // namespace

double Candidate::setting(ScanAxis axis) const {
  switch (axis) {
    case ScanAxis::fraction:
      return fraction;
    case ScanAxis::threshold:
      return threshold;
    case ScanAxis::delay:
      return delay;
    case ScanAxis::cut:
      return cut;
  }
  return not_known;
}

std::string kind_of(const Candidate& candidate) {
  return candidate.walk.empty() ? candidate.method
                                : fmt::format("{}, walk by {}", candidate.method, candidate.walk);
}

std::string name_of(const Candidate& candidate) {
  std::string name = kind_of(candidate);
  if (!std::isnan(candidate.fraction)) name += fmt::format(" {:g}", candidate.fraction);
  if (!std::isnan(candidate.threshold)) name += fmt::format(" at {:g} of the height", candidate.threshold);
  if (!std::isnan(candidate.delay)) name += fmt::format(", delay {:g}", candidate.delay);
  if (candidate.filtered()) name += fmt::format(", cut {:g}", candidate.cut);
  return name;
}

std::string_view label_of(ScanAxis axis) {
  switch (axis) {
    case ScanAxis::fraction:
      return "fraction of the height";
    case ScanAxis::threshold:
      return "threshold over the median height";
    case ScanAxis::delay:
      return "delay over the transition duration";
    case ScanAxis::cut:
      return "low-pass corner over the signal band";
  }
  return "";
}

bool differ_only_in(ScanAxis axis, const Candidate& a, const Candidate& b) {
  return kind_of(a) == kind_of(b) && std::all_of(scan_axes.begin(), scan_axes.end(), [&](ScanAxis each) {
           return each == axis || same(a.setting(each), b.setting(each));
         });
}

CandidateStamps::CandidateStamps(std::vector<std::string> channels, std::vector<Candidate> candidates,
                                 FlagSet allowed_flags)
    : channels_(std::move(channels)),
      candidates_(std::move(candidates)),
      allowed_(allowed_flags | doubts_of_uncertainty) {
  if (channels_.size() < 2)
    throw Error("comparison", "the run has one channel", "record a second channel to compare it with");
  if (candidates_.empty()) throw Error("comparison", "there is no candidate", "give methods to compare");
  if (channels_.size() > most_columns / candidates_.size())
    throw Error(
        "comparison",
        fmt::format("{} channels by {} candidates are too many", channels_.size(), candidates_.size()),
        fmt::format("compare no more than {} of both together", most_columns));
  columns_.resize(channels_.size() * candidates_.size());
  pulses_.resize(channels_.size());
}

void CandidateStamps::expect(std::size_t row, std::uint64_t record) {
  if (row < records_.size()) {
    if (records_[row] != record)
      throw Error("comparison",
                  fmt::format("record {} was met where record {} was before", record, records_[row]),
                  "leave the files alone while they are read");
    return;
  }
  records_.push_back(record);
  for (CandidateColumn& column : columns_) {
    column.time_s.push_back(not_known);
    column.uncertainty_s.push_back(not_known);
  }
  for (PulseRows& rows : pulses_) {
    rows.height_v.push_back(not_known);
    rows.transition_s.push_back(not_known);
    rows.bound_s.push_back(not_known);
    rows.flags.emplace_back();
  }
}

void CandidateStamps::set(std::size_t row, std::size_t channel, std::size_t candidate, const Stamp& stamp) {
  CandidateColumn& column = columns_[channel * candidates_.size() + candidate];
  if ((stamp.flags.bits() & ~allowed_.bits()) != 0) {
    ++column.flagged;
    for (std::size_t i = 0; i < flag_table.size(); ++i)
      column.by_flag.at(i) += stamp.flags.has(flag_table.at(i).flag) ? 1 : 0;
  } else if (!std::isfinite(stamp.time_s)) {
    ++column.no_time;
  } else {
    ++column.usable;
    column.time_s[row] = stamp.time_s;
    column.uncertainty_s[row] = stamp.uncertainty_s;
  }
}

void CandidateStamps::set_pulse(std::size_t row, std::size_t channel, const Stamp& stamp) {
  PulseRows& rows = pulses_[channel];
  rows.height_v[row] = stamp.height_v;
  rows.transition_s[row] = stamp.transition_duration_s;
  rows.bound_s[row] = stamp.bound_s;
  rows.flags[row] = stamp.flags;
}

bool is_for_choosing(std::uint64_t record) {
  // SplitMix64's mixing of bits (S. Vigna, public domain algorithm).
  std::uint64_t z = record + 0x9e3779b97f4a7c15ULL;
  z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9ULL;
  z = (z ^ (z >> 27U)) * 0x94d049bb133111ebULL;
  return ((z ^ (z >> 31U)) & 1U) == 0;
}

}  // namespace firstedge
