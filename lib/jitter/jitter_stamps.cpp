#include "firstedge/jitter/jitter_stamps.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <numeric>
#include <set>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_columns = 65'536;

void check_names(const std::vector<std::string>& names, const std::string& what) {
  if (names.empty()) throw Error("stamp table", "it names no " + what, "stamp the run with one");
  std::set<std::string> seen;
  for (const std::string& name : names) {
    if (!seen.insert(name).second)
      throw Error("stamp table", fmt::format("two {}s are called '{}'", what, name),
                  "give each its own name");
  }
}

template <class Value>
std::vector<Value> picked(const std::vector<Value>& values, const std::vector<std::size_t>& order) {
  std::vector<Value> taken;
  taken.reserve(order.size());
  for (const std::size_t i : order) taken.push_back(values[i]);
  return taken;
}

}  // namespace

JitterStamps::JitterStamps(std::vector<std::string> channels, std::vector<std::string> methods)
    : channels_(std::move(channels)), methods_(std::move(methods)) {
  check_names(channels_, "channel");
  check_names(methods_, "method");
  if (channels_.size() > most_columns / methods_.size())
    throw Error("stamp table",
                fmt::format("{} channels by {} methods are too many", channels_.size(), methods_.size()),
                fmt::format("stamp no more than {} of both together", most_columns));
  columns_.resize(channels_.size() * methods_.size());
}

void JitterStamps::add(std::span<const Stamp> stamps) {
  for (const Stamp& stamp : stamps) {
    if (stamp.channel >= channels_.size() || stamp.method >= methods_.size())
      throw Error("stamp table",
                  fmt::format("the stamp of record {} has channel {} and method {}, which have no name",
                              stamp.record, stamp.channel, stamp.method),
                  "write the table anew");
    if (stamp.pulse != 0) {
      ++later_pulses_;
      continue;
    }
    StampColumn& column = columns_[stamp.method * channels_.size() + stamp.channel];
    column.record.push_back(stamp.record);
    column.time_s.push_back(stamp.time_s);
    column.uncertainty_s.push_back(stamp.uncertainty_s);
    column.bound_s.push_back(stamp.bound_s);
    column.height_v.push_back(stamp.height_v);
    column.flags.push_back(stamp.flags);
  }
}

void JitterStamps::settle() {
  for (StampColumn& column : columns_) {
    const auto& record = column.record;
    // Strictly rising: nothing to do for a table as it is written.
    if (std::adjacent_find(record.begin(), record.end(), std::greater_equal<>()) == record.end()) continue;
    std::vector<std::size_t> order(column.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return record[a] < record[b]; });
    const auto same = [&](std::size_t a, std::size_t b) { return record[a] == record[b]; };
    order.erase(std::unique(order.begin(), order.end(), same), order.end());
    repeated_ += column.size() - order.size();
    column = {.record = picked(column.record, order),
              .time_s = picked(column.time_s, order),
              .uncertainty_s = picked(column.uncertainty_s, order),
              .bound_s = picked(column.bound_s, order),
              .height_v = picked(column.height_v, order),
              .flags = picked(column.flags, order)};
  }
  std::stable_sort(triggers_.begin(), triggers_.end(),
                   [](const RecordInstant& a, const RecordInstant& b) { return a.record < b.record; });
  const auto same = [](const RecordInstant& a, const RecordInstant& b) { return a.record == b.record; };
  triggers_.erase(std::unique(triggers_.begin(), triggers_.end(), same), triggers_.end());
}

}  // namespace firstedge
