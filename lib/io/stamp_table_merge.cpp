#include "firstedge/io/stamp_table_merge.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/applied_delay_json.hpp"
#include "firstedge/io/provenance_json.hpp"
#include "firstedge/io/stamp_part_json.hpp"
#include "firstedge/io/stamp_table_words.hpp"

#include <algorithm>
#include <map>
#include <optional>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t stamps_at_a_time = 65536;

using Path = std::filesystem::path;

// What must be the same in all parts, each with a word for it.
std::vector<std::pair<std::string, std::string>> common_facts(const StampTableHead& head) {
  std::string channels, methods;
  for (const auto& channel : head.channels) channels += stamp_words::json_line(channel) + "\n";
  for (const auto& method : head.methods) methods += stamp_words::json_line(method) + "\n";
  std::string inputs;
  for (const auto& input : head.provenance.inputs)
    inputs += fmt::format("{} {} {}\n", input.name, input.bytes, input.sha256);
  return {{"other inputs", inputs},
          {"another version", head.provenance.version},
          {"another Setup", head.provenance.setup},
          {"another command", head.provenance.command},
          {"another provenance", provenance_json(head.provenance)},
          {"another title", head.title},
          {"other channels or noise", channels},
          {"other methods", methods},
          {"other delays taken out", applied_delays_json(head.applied_delays)},
          {"other templates or walk corrections learnt", head.part->learnt_sha256}};
}

StampTableHead head_of_part_in(const Path& file) {
  StampTableHead head = StampTableReader(file).head();
  if (!head.part)
    throw Error(file.string(), "is not the table of a part of a run", "give tables made with --part");
  return head;
}

void refuse_unequal(const Path& file, const StampTableHead& head, const Path& first_file,
                    const StampTableHead& first) {
  if (head.part->of != first.part->of) {
    throw Error(file.string(),
                fmt::format("is one of {} parts, but {} is one of {}", head.part->of, first_file.string(),
                            first.part->of),
                "give the parts of one run");
  }
  const auto here = common_facts(head), there = common_facts(first);
  for (std::size_t i = 0; i < here.size(); ++i) {
    if (here[i].second == there[i].second) continue;
    throw Error(file.string(), fmt::format("was made with {} than {}", here[i].first, first_file.string()),
                "give the parts of one run");
  }
}

// The files by their number, all there and all alike.
std::map<std::uint64_t, Path> in_order(const std::vector<Path>& files, const StampTableHead& first) {
  std::map<std::uint64_t, Path> by_number;
  for (const Path& file : files) {
    const StampTableHead head = head_of_part_in(file);
    refuse_unequal(file, head, files.front(), first);
    const auto [at, is_new] = by_number.emplace(head.part->number, file);
    if (!is_new) {
      throw Error(
          file.string(),
          fmt::format("is part {}/{}, as is {}", head.part->number, head.part->of, at->second.string()),
          "give each part once");
    }
  }
  std::uint64_t wanted = 1;  // by_number rises, so the first gap is the first part missing
  for (const auto& [number, file] : by_number) wanted += number == wanted ? 1 : 0;
  if (wanted <= first.part->of) {
    throw Error(fmt::format("part {}/{}", wanted, first.part->of), "is missing",
                fmt::format("give all {} parts", first.part->of));
  }
  return by_number;
}

void refuse_disorder(const Path& file, std::uint64_t record, std::uint64_t least) {
  if (record >= least) return;
  throw Error(file.string(),
              fmt::format("holds record {}, which is not behind those of the part before", record),
              "make the parts again, all from the same files");
}

}  // namespace

MergedTable merge_stamp_tables(const std::vector<Path>& parts, const Path& table) {
  if (parts.empty()) throw Error("the parts", "are missing", "give the tables of all parts");
  MergedTable merged{.head = head_of_part_in(parts.front()), .stamps = 0, .parts = parts.size()};
  const std::map<std::uint64_t, Path> files = in_order(parts, merged.head);
  merged.head.part.reset();
  StampTableWriter writer(table, merged.head);
  std::uint64_t least = 0, behind = 0;  // records of the part before this one are below `least`
  for (const auto& [number, file] : files) {
    StampTableReader part(file);
    for (auto block = part.next_block(stamps_at_a_time); !block.empty();
         block = part.next_block(stamps_at_a_time)) {
      refuse_disorder(file, block.front().record, least);
      behind = block.back().record + 1;
      merged.stamps += block.size();
      writer.write(block);
    }
    const std::vector<TriggerRow> triggers = part.triggers();
    if (!triggers.empty()) {
      refuse_disorder(file, triggers.front().record, least);
      behind = std::max(behind, triggers.back().record + 1);
      writer.write({}, triggers);
    }
    least = std::max(least, behind);
  }
  writer.finish();
  return merged;
}

}  // namespace firstedge
