#include "firstedge/io/text_reader.hpp"

#include "firstedge/io/file_run.hpp"
#include "firstedge/io/identical_files.hpp"
#include "firstedge/io/text_account.hpp"
#include "firstedge/io/text_files_ahead.hpp"
#include "firstedge/io/text_run_plan.hpp"

#include <algorithm>
#include <utility>
#include <variant>

#include <fmt/format.h>

namespace firstedge {
namespace {

class TextReader final : public RecordReader {
 public:
  TextReader(TextRunPlan plan, TextOptions options, RunDescription description,
             std::optional<TextDialect> dialect)
      : plan_(std::move(plan)),
        options_(std::move(options)),
        description_(std::move(description)),
        account_(description_.channels),
        files_(files_in_turn(plan_), options_, dialect) {
    for (std::size_t i = 0; i < description_.channels.size(); ++i) position_[description_.channels[i]] = i;
    for (const std::string& remark : plan_.remarks) account_.add_remark(remark, remark);
  }

  const RunDescription& description() const override { return description_; }
  const ReadingAccount& account() const override { return account_.account(); }

  std::optional<double> share_read() const override {
    const double open = streams_.empty() ? 0 : 1 - share_taken(streams_.front().stream.source());
    return (static_cast<double>(next_group_) - open) / static_cast<double>(plan_.groups.size());
  }

  RecordBlock next_block(std::size_t max_records) override {
    RecordBlock block;
    largest_record_ = 0;
    while (block.records.size() < records_at_once(max_records, largest_record_) && !finished_) {
      if (streams_.empty() && !open_next_group()) {
        account_.finish();
        finished_ = true;
      } else if (!streams_.empty()) {
        read_record(block);
      }
    }
    return block;
  }

 private:
  struct OpenFile {
    TextRecordStream stream;
    std::optional<TextRecord> first;
    std::size_t file = 0;
    std::vector<std::optional<std::size_t>> positions;  // of its voltages among the channels of the run
  };
  using Storage = std::vector<std::vector<TextTrace>>;

  static std::vector<std::filesystem::path> files_in_turn(const TextRunPlan& plan) {
    std::vector<std::filesystem::path> files;
    for (const TextRunPlan::Group& group : plan.groups) {
      for (const TextRunPlan::Member& member : group.members) files.push_back(plan.files[member.file]);
    }
    return files;
  }

  static double share_taken(const TextSource& source) {
    return static_cast<double>(source.taken_bytes()) /
           static_cast<double>(std::max<std::uint64_t>(source.size_bytes(), 1));
  }

  bool open_next_group();
  void open_file(const TextRunPlan::Member& member);
  void read_record(RecordBlock& block);
  void add_record(RecordBlock& block, std::vector<std::optional<TextRecord>> parts);
  Trace trace_of(const TextTrace& text) const;

  TextRunPlan plan_;
  TextOptions options_;
  RunDescription description_;
  TextAccount account_;
  TextFilesAhead files_;
  IdenticalFiles identical_;
  std::map<std::string, std::size_t> position_;
  std::size_t next_group_ = 0;
  std::uint64_t next_index_ = 0;
  std::uint64_t records_of_group_ = 0;
  std::uint64_t largest_record_ = 0;  // samples in all its traces, in the block being filled
  std::vector<OpenFile> streams_;
  bool finished_ = false;
};

// Opens the files of the next group; leaves streams_ empty if none of them can be read. False at the end.
bool TextReader::open_next_group() {
  if (next_group_ == plan_.groups.size()) return false;
  const TextRunPlan::Group& group = plan_.groups[next_group_++];
  if (group.index) next_index_ = *group.index;
  records_of_group_ = 0;
  for (const TextRunPlan::Member& member : group.members) open_file(member);
  if (streams_.empty()) {
    account_.add_bad();
    ++next_index_;
  }
  return true;
}

void TextReader::open_file(const TextRunPlan::Member& member) {
  const std::filesystem::path& file = plan_.files[member.file];
  try {
    BegunTextFile begun = files_.next();
    if (const auto same = identical_.add(file, begun.stream.source().size_bytes(), begun.fingerprint)) {
      account_.add_identical(file, *same);
    }
    const TextLayout& layout = begun.stream.layout();
    std::vector<std::optional<std::size_t>> positions;
    for (std::size_t i = 0; i < layout.voltages.size(); ++i) {
      const std::string name = channel_name(member, layout, i);
      const auto known = position_.find(name);
      positions.push_back(known == position_.end() ? std::nullopt : std::optional(known->second));
      if (positions.back()) continue;
      account_.add_problem(Error(
          file.string(), fmt::format("the channel '{}' is not among those of the run and is left out", name),
          "name all channels in input/channels, or read this file by itself"));
    }
    streams_.push_back({std::move(begun.stream), std::move(begun.first), member.file, std::move(positions)});
  } catch (const Error& error) {
    account_.add_problem(error);
  }
}

// Takes one record from each open file of the group; closes the group if there is none.
void TextReader::read_record(RecordBlock& block) {
  std::vector<std::optional<TextRecord>> parts;
  bool any = false;
  for (OpenFile& open : streams_) {
    parts.push_back(open.first ? std::exchange(open.first, std::nullopt) : open.stream.next());
    any = any || parts.back().has_value();
  }
  if (!any) {
    streams_.clear();
    return;
  }
  if (plan_.one_record_a_group && records_of_group_ > 0) {
    account_.add_problem(
        Error(plan_.files[streams_.front().file].string(),
              "holds more than one record, where the pattern says one record a file",
              "leave {record} out of input/pattern, or set input/record_separators to \"none\""));
    account_.add_bad();
    ++records_of_group_;
    return;
  }
  ++records_of_group_;
  add_record(block, std::move(parts));
  ++next_index_;
}

// One record of the parts that are good; a bad one if none is.
void TextReader::add_record(RecordBlock& block, std::vector<std::optional<TextRecord>> parts) {
  const auto storage = std::make_shared<Storage>();
  Record record;
  record.index = next_index_;
  record.file = static_cast<std::uint32_t>(streams_.front().file);
  record.traces.resize(description_.channels.size());
  std::uint64_t samples = 0;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (!parts[i]) continue;
    account_.add_remarks(*parts[i]);
    if (parts[i]->damage) {
      account_.add_problem(*parts[i]->damage);
      continue;
    }
    if (!record.trigger) record.trigger = parts[i]->trigger;
    storage->push_back(std::move(parts[i]->traces));
    for (std::size_t j = 0; j < storage->back().size(); ++j) {
      const auto position = streams_[i].positions[j];
      if (!position) continue;
      record.traces[*position] = trace_of(storage->back()[j]);
      samples += record.traces[*position].size();
    }
  }
  if (samples == 0) {
    account_.add_bad();
    return;
  }
  largest_record_ = std::max(largest_record_, samples);
  account_.add_good(record);
  block.records.push_back(std::move(record));
  block.storage.push_back(storage);
}

Trace TextReader::trace_of(const TextTrace& text) const {
  Trace trace;
  std::visit(
      [&](const auto& counts) {
        trace.counts = std::span<const typename std::decay_t<decltype(counts)>::value_type>(counts);
      },
      text.counts);
  trace.interval_s = text.interval_s;
  trace.first_sample_s = text.first_sample_s;
  trace.volts_per_count = text.volts_per_count;
  trace.offset_v = options_.offset_v;
  trace.lowest_count = options_.lowest_count;
  trace.highest_count = options_.highest_count;
  return trace;
}

}  // namespace

std::unique_ptr<RecordReader> open_text(const std::vector<std::filesystem::path>& files,
                                        const Settings& input) {
  if (files.empty()) throw Error("files", "none is given", "name at least one file or folder");
  TextOptions options = text_options(input);
  TextRunPlan plan = text_run_plan(files, options, pattern_of(input));
  TextRunLook look = look_into_text_run(plan, options);
  return std::make_unique<TextReader>(std::move(plan), std::move(options), std::move(look.description),
                                      look.dialect);
}

}  // namespace firstedge
