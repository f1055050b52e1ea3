#include "firstedge/io/text_reader.hpp"

#include "firstedge/io/file_pattern.hpp"
#include "firstedge/io/file_run.hpp"
#include "firstedge/io/identical_files.hpp"
#include "firstedge/io/text_account.hpp"
#include "firstedge/io/text_layout.hpp"
#include "firstedge/io/text_options.hpp"
#include "firstedge/io/text_records.hpp"

#include <algorithm>
#include <utility>
#include <variant>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_channels_looked_into = 64;
constexpr std::size_t most_tries = 20;  // files looked into in search of one that can be read
constexpr std::size_t most_guesses = 40;

// Which files make up which record.
struct Plan {
  struct Member {
    std::size_t file = 0;
    std::string channel;  // by the pattern; empty without
  };
  struct Group {
    std::optional<std::uint64_t> index;  // of its one record, by the pattern
    std::vector<Member> members;
  };
  std::vector<std::filesystem::path> files;
  std::vector<std::string> channels;  // by the pattern; empty without
  std::vector<Group> groups;
  std::vector<std::string> remarks;
  bool one_record_a_group = false;
};

Plan plan_of(const std::vector<std::filesystem::path>& files, const TextOptions& options,
             const std::optional<FilePattern>& pattern) {
  Plan plan;
  if (!pattern) {
    plan.files = files;
    for (std::size_t i = 0; i < files.size(); ++i) plan.groups.push_back({std::nullopt, {{i, {}}}});
    return plan;
  }
  FileGroups found =
      group_files(files, *pattern, pattern->has_channel() ? options.channels : std::vector<std::string>{});
  plan.one_record_a_group = pattern->has_record();
  for (const FileGroups::Group& group : found.groups) {
    Plan::Group planned;
    if (pattern->has_record()) planned.index = group.index;
    for (std::size_t i = 0; i < group.files.size(); ++i) {
      if (group.files[i] != FileGroups::no_file)
        planned.members.push_back({group.files[i], found.channels[i]});
    }
    plan.groups.push_back(std::move(planned));
  }
  plan.files = std::move(found.files);
  plan.remarks = std::move(found.remarks);
  if (pattern->has_channel()) plan.channels = std::move(found.channels);
  return plan;
}

std::string channel_name(const Plan::Member& member, const TextLayout& layout, std::size_t voltage) {
  if (member.channel.empty()) return layout.voltages[voltage].name;
  return layout.voltages.size() == 1 ? member.channel : member.channel + " " + layout.voltages[voltage].name;
}

// Looks into few files to learn what the run is made of.
class FirstLook {
 public:
  FirstLook(const Plan& plan, const TextOptions& options) : plan_(plan), options_(options) {}

  RunDescription describe() {
    description_.format = "text";
    description_.files = plan_.files;
    if (plan_.channels.empty()) {
      look_along_the_run();
    } else {
      look_at_each_channel();
    }
    if (!hint_) throw *first_failure_;
    if (plan_.one_record_a_group) description_.record_count = plan_.groups.size();
    add_guesses();
    return std::move(description_);
  }

  std::optional<TextDialect> dialect() const { return hint_; }

 private:
  bool look_into(const Plan::Member& member) {
    try {
      const TextRecordStream stream =
          open_text_records(ByteSource::from_file(plan_.files[member.file]), options_, hint_);
      const TextLayout& layout = stream.layout();
      if (!hint_) {
        hint_ = layout.dialect;
        description_.metadata = layout.metadata;
      }
      for (std::size_t i = 0; i < layout.voltages.size(); ++i) add_channel(channel_name(member, layout, i));
      for (const std::string& guess : layout.guesses) add_guess(guess);
      return true;
    } catch (const Error& error) {
      if (!first_failure_) first_failure_ = error;
      return false;
    }
  }

  void add_channel(const std::string& name) {
    auto& channels = description_.channels;
    if (std::find(channels.begin(), channels.end(), name) == channels.end()) channels.push_back(name);
  }

  void add_guess(const std::string& guess) {
    auto& guesses = description_.guesses;
    if (guesses.size() >= most_guesses) return;
    if (std::find(guesses.begin(), guesses.end(), guess) == guesses.end()) guesses.push_back(guess);
  }

  void look_along_the_run() {
    const std::size_t count = plan_.groups.size();
    std::size_t next = 0;
    for (const std::size_t start : {std::size_t{0}, count / 2, count - 1}) {
      std::size_t tries = 0;
      for (next = std::max(next, start); next < count && tries < most_tries; ++tries) {
        if (look_into(plan_.groups[next++].members.front())) break;
      }
    }
  }

  void look_at_each_channel() {
    for (const std::string& channel : plan_.channels) {
      std::size_t tries = description_.channels.size() < most_channels_looked_into ? 0 : most_tries;
      bool found = false;
      for (auto group = plan_.groups.begin(); group != plan_.groups.end() && tries < most_tries && !found;
           ++group) {
        for (const Plan::Member& member : group->members) {
          if (member.channel != channel) continue;
          ++tries;
          found = look_into(member);
        }
      }
      if (!found) add_channel(channel);
    }
  }

  void add_guesses() {
    if (!options_.separators_given && options_.record_length == 0) {
      add_guess(
          "a new record begins behind a blank line or a repeated header line, or where the time is back at "
          "its start (input/record_separators and input/record_length override this)");
    }
    if (plan_.channels.empty() && options_.channels.empty() && plan_.groups.size() > 3) {
      add_guess(
          "the channels of the run are those named in the first, the middle and the last file "
          "(input/channels overrides this)");
    }
  }

  const Plan& plan_;
  const TextOptions& options_;
  RunDescription description_;
  std::optional<TextDialect> hint_;
  std::optional<Error> first_failure_;
};

class TextReader final : public RecordReader {
 public:
  TextReader(Plan plan, TextOptions options, RunDescription description, std::optional<TextDialect> dialect)
      : plan_(std::move(plan)),
        options_(std::move(options)),
        description_(std::move(description)),
        dialect_(dialect),
        account_(description_.channels) {
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
    std::size_t file = 0;
    std::vector<std::optional<std::size_t>> positions;  // of its voltages among the channels of the run
  };
  using Storage = std::vector<std::vector<TextTrace>>;

  static double share_taken(const TextSource& source) {
    return static_cast<double>(source.taken_bytes()) /
           static_cast<double>(std::max<std::uint64_t>(source.size_bytes(), 1));
  }

  bool open_next_group();
  void open_file(const Plan::Member& member);
  void read_record(RecordBlock& block);
  void add_record(RecordBlock& block, std::vector<std::optional<TextRecord>> parts);
  Trace trace_of(const TextTrace& text) const;

  Plan plan_;
  TextOptions options_;
  RunDescription description_;
  std::optional<TextDialect> dialect_;
  TextAccount account_;
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
  const Plan::Group& group = plan_.groups[next_group_++];
  if (group.index) next_index_ = *group.index;
  records_of_group_ = 0;
  for (const Plan::Member& member : group.members) open_file(member);
  if (streams_.empty()) {
    account_.add_bad();
    ++next_index_;
  }
  return true;
}

void TextReader::open_file(const Plan::Member& member) {
  const std::filesystem::path& file = plan_.files[member.file];
  try {
    TextRecordStream stream = open_text_records(ByteSource::from_file(file), options_, dialect_);
    const TextSource& source = stream.source();
    if (const auto same = identical_.add(file, source.size_bytes(), source.head())) {
      account_.add_identical(file, *same);
    }
    const TextLayout& layout = stream.layout();
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
    streams_.push_back({std::move(stream), member.file, std::move(positions)});
  } catch (const Error& error) {
    account_.add_problem(error);
  }
}

// Takes one record from each open file of the group; closes the group if there is none.
void TextReader::read_record(RecordBlock& block) {
  std::vector<std::optional<TextRecord>> parts;
  bool any = false;
  for (OpenFile& open : streams_) {
    parts.push_back(open.stream.next());
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
  Plan plan = plan_of(files, options, pattern_of(input));
  FirstLook look(plan, options);
  RunDescription description = look.describe();
  const std::optional<TextDialect> dialect = look.dialect();
  return std::make_unique<TextReader>(std::move(plan), std::move(options), std::move(description), dialect);
}

}  // namespace firstedge
