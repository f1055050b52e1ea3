#include "firstedge/io/instant_table.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/csv_rows.hpp"
#include "firstedge/io/hdf5_input.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

const std::string csv_remedy =
    "give a line of names with 'instant' (and 'uncertainty_s', 'method', others), then a row an arrival";

// The next line that is no comment.
std::optional<std::string> next_row(CsvLines& lines) {
  std::optional<std::string> line = lines.next();
  while (line && (line->empty() || line->front() == '#')) line = lines.next();
  return line;
}

std::vector<std::string> names_in(const std::string& line, const std::string& place) {
  constexpr std::size_t most_columns = 64;
  CsvFields fields(line, place, csv_remedy);
  std::vector<std::string> names;
  std::set<std::string> seen;
  while (!fields.done()) {
    names.push_back(fields.next());
    if (names.back().empty() || !seen.insert(names.back()).second)
      fields.refuse(fmt::format("of names holds '{}' without need or twice", names.back()));
    if (names.size() > most_columns)
      fields.refuse(fmt::format("of names has more than {} columns", most_columns));
  }
  if (!seen.contains("instant")) fields.refuse("of names has no column 'instant'");
  return names;
}

// "height_v" -> height in V.
InstantColumn column_named(const std::string& name) {
  static const std::map<std::string, std::string> units{{"s", "s"}, {"v", "V"}, {"c", "°C"}, {"k", "K"}};
  const std::size_t mark = name.rfind('_');
  const auto unit = mark == std::string::npos ? units.end() : units.find(name.substr(mark + 1));
  if (unit == units.end()) return {.name = name, .unit = "", .values = {}};
  return {.name = name.substr(0, mark), .unit = unit->second, .values = {}};
}

void read_row(CsvFields& fields, const std::vector<std::string>& names, const std::string& place,
              TimeScale scale, InstantList& list) {
  std::size_t column = 0;
  for (const std::string& name : names) {
    if (name == "instant") {
      list.instants.push_back(parse_instant(fields.next(), scale, place));
      if (list.instants.back().scale != list.instants.front().scale)
        fields.refuse("has an instant on another time scale than the first");
    } else if (name == "uncertainty_s") {
      list.uncertainty_s.push_back(fields.number_or_nan("uncertainty_s"));
      if (list.uncertainty_s.back() < 0 || std::isinf(list.uncertainty_s.back()))
        fields.refuse(fmt::format("has the uncertainty_s {}", list.uncertainty_s.back()));
    } else if (name == "method") {
      list.methods.push_back(printable(fields.next()));
    } else {
      list.columns[column++].values.push_back(fields.number_or_nan(name.c_str()));
    }
  }
  fields.finish();
}

std::map<std::uint64_t, Instant> triggers_of(StampTableReader& table, const std::string& place) {
  std::map<std::uint64_t, Instant> triggers;
  const std::vector<TriggerRow> rows = table.triggers();
  if (rows.empty())
    throw Error(place, "has no trigger instants",
                "give a table of records that have them, or a CSV of instants");
  for (const TriggerRow& row : rows) {
    if (row.instant.scale != rows.front().instant.scale)
      throw Error(place, "has trigger instants on two time scales", "bring them onto one");
    triggers.emplace(row.record, row.instant);
  }
  return triggers;
}

void take_chain(const StampTableHead& head, const std::string& channel, InstantList& list) {
  std::size_t stretches = 0;
  for (const AppliedDelay& delay : head.applied_delays) {
    if (delay.channel != channel) continue;
    if (stretches++ == 0) list.chain = delay.terms;
  }
  if (stretches > 1)
    list.notes.push_back(fmt::format(
        "calibrations change {} times within the run; the budget is that of the first", stretches - 1));
}

}  // namespace

InstantList read_instant_csv(const std::filesystem::path& file, TimeScale scale) {
  ByteSource::from_file(file);  // refuses what is no file
  CsvLines lines(file, csv_remedy);
  const std::optional<std::string> head = next_row(lines);
  if (!head) throw Error(file.string(), "has no line of names", csv_remedy);
  const std::vector<std::string> names = names_in(*head, lines.place());
  InstantList list;
  list.name = file.stem().string();
  for (const std::string& name : names) {
    if (name != "instant" && name != "uncertainty_s" && name != "method")
      list.columns.push_back(column_named(name));
  }
  while (const auto line = next_row(lines)) {
    if (list.instants.size() == most_instants)
      throw Error(lines.place(), fmt::format("there are more than {} rows", most_instants), "split the file");
    CsvFields fields(*line, lines.place(), csv_remedy);
    read_row(fields, names, lines.place(), scale, list);
  }
  if (list.instants.empty()) throw Error(file.string(), "has no rows", csv_remedy);
  return list;
}

InstantList instants_of(StampTableReader& table, const std::string& name, const StampChoice& choice) {
  const StampTableHead& head = table.head();
  const std::size_t channel = channel_numbered(head, choice.channel, name);
  const std::size_t method = method_numbered(head, choice.method, name);
  const std::map<std::uint64_t, Instant> triggers = triggers_of(table, name);
  InstantList list;
  list.name = fmt::format("{} {}", name, choice.channel);
  list.columns = {{.name = "height", .unit = "V", .values = {}}};
  take_chain(head, choice.channel, list);
  std::size_t flagged = 0, without_time = 0;
  constexpr std::size_t block_size = 65536;
  for (auto block = table.next_block(block_size); !block.empty(); block = table.next_block(block_size)) {
    for (const Stamp& stamp : block) {
      if (stamp.channel != channel || stamp.method != method) continue;
      const auto trigger = triggers.find(stamp.record);
      const bool timed =
          std::isfinite(stamp.time_s) && std::abs(stamp.time_s) < 1e9 && trigger != triggers.end();
      const bool clean = stamp.flags.without(choice.allowed_flags | doubts_of_uncertainty).empty();
      flagged += clean ? 0 : 1;
      without_time += clean && !timed ? 1 : 0;
      if (!clean || !timed) continue;
      if (list.instants.size() == most_instants)
        throw Error(name, fmt::format("has more than {} arrivals", most_instants), "split the table");
      list.instants.push_back(advanced(trigger->second, stamp.time_s));
      list.uncertainty_s.push_back(stamp.uncertainty_s);
      list.columns[0].values.push_back(stamp.height_v);
    }
  }
  if (flagged + without_time > 0)
    list.notes.push_back(
        fmt::format("{} stamps are flagged and {} have no time: left out", flagged, without_time));
  if (list.instants.empty())
    throw Error(name, fmt::format("has no usable arrival in channel '{}'", choice.channel),
                "allow flags, or choose another channel or method");
  return list;
}

bool is_instant_csv(const std::filesystem::path& file) {
  if (is_hdf5(ByteSource::from_file(file))) return false;
  CsvLines lines(file, csv_remedy);
  const std::optional<std::string> line = next_row(lines);
  if (!line) return false;
  CsvFields fields(*line, lines.place(), csv_remedy);
  while (!fields.done()) {
    if (fields.next() == "instant") return true;
  }
  return false;
}

}  // namespace firstedge
