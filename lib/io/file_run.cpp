#include "firstedge/io/file_run.hpp"

#include <algorithm>
#include <cctype>
#include <deque>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::uint64_t most_samples_at_once = std::uint64_t{1} << 22U;
constexpr std::size_t most_problems = 20;  // ReadingAccount's promise

// A file being read, and the records of it that wait for those of the other channels.
struct Stream {
  const ByteSource* source = nullptr;
  std::size_t first_channel = 0;
  RecordFile file;
  std::deque<FileRecords::One> ahead;
  std::shared_ptr<const void> storage_noted;  // the last one put into the block being filled
  bool ended = false;
  std::uint64_t records = 0;  // met so far, damaged and lost ones included
};

// Two problems are of one kind if they differ in numbers alone.
std::string kind_of(const Error& problem) {
  std::string kind = problem.problem();
  std::erase_if(kind, [](unsigned char c) { return std::isdigit(c) != 0; });
  return kind;
}

class FileRunReader final : public RecordReader {
 public:
  FileRunReader(RunDescription description, FileArrangement arrangement, OpenRecordFile open)
      : description_(std::move(description)), arrangement_(std::move(arrangement)), open_(std::move(open)) {
    for (const ByteSource& source : arrangement_.sources) {
      description_.files.emplace_back(source.name());
    }
    account_.remarks = arrangement_.remarks;
    count_records();
  }

  const RunDescription& description() const override { return description_; }
  const ReadingAccount& account() const override { return account_; }
  RecordBlock next_block(std::size_t max_records) override;
  std::uint64_t skip_to(std::uint64_t index) override;

 private:
  void count_records();
  void open_group();
  void close_group();
  void fetch(Stream& stream, std::size_t most);
  bool fetch_all(std::size_t most);
  std::uint64_t skip_in_group(std::uint64_t most);
  Record join_next(RecordBlock& block);
  void note(const Error& problem);
  void remark(const std::string& sentence);

  RunDescription description_;
  FileArrangement arrangement_;
  OpenRecordFile open_;
  ReadingAccount account_;
  std::set<std::string> problem_kinds_;
  std::set<std::string> remarks_made_;
  std::size_t group_ = 0;  // the one being read, or to be opened next
  bool group_is_open_ = false;
  std::vector<Stream> streams_;      // of the open group
  std::uint64_t group_records_ = 0;  // taken from the open group
  std::uint64_t index_ = 0;          // of the next record
};

// Opens every file once: what is known before reading, and the proof that there is something to read.
void FileRunReader::count_records() {
  std::optional<std::uint64_t> total = 0;
  std::optional<Error> first_problem;
  bool any_opened = false;
  for (const FileGroups::Group& group : arrangement_.groups) {
    std::optional<std::uint64_t> most = 0;
    for (std::size_t i = 0; i < group.files.size(); ++i) {
      if (group.files[i] == FileGroups::no_file) continue;
      const ByteSource& source = arrangement_.sources[group.files[i]];
      std::optional<std::uint64_t> count = 1;  // a file that cannot be opened is one bad record
      try {
        count = open_(source, i).record_count;
        any_opened = true;
      } catch (const Error& problem) {
        if (!first_problem) first_problem = problem;
      }
      source.put_down();
      most = most && count ? std::optional(std::max(*most, *count)) : std::nullopt;
    }
    total = total && most ? std::optional(*total + *most) : std::nullopt;
  }
  if (!any_opened && first_problem) throw *first_problem;
  if (total == 0U) throw Error(arrangement_.sources.front().name(), "holds no record", "record at least one");
  description_.record_count = total;
}

void FileRunReader::open_group() {
  const FileGroups::Group& group = arrangement_.groups[group_];
  index_ = std::max(index_, group.index);
  group_records_ = 0;
  streams_.clear();
  for (std::size_t i = 0; i < group.files.size(); ++i) {
    if (group.files[i] == FileGroups::no_file) continue;
    Stream stream;
    stream.source = &arrangement_.sources[group.files[i]];
    stream.first_channel = i;
    try {
      stream.file = open_(*stream.source, i);
    } catch (const Error& problem) {
      note(problem);
      stream.ended = true;
      stream.records = 1;
    }
    streams_.push_back(std::move(stream));
  }
  group_is_open_ = true;
}

void FileRunReader::close_group() {
  std::uint64_t longest = group_records_;
  for (const Stream& stream : streams_) {
    if (stream.records != streams_.front().records)
      remark("the files of the channels differ in their number of records");
    longest = std::max(longest, stream.records);
    stream.source->put_down();
  }
  account_.records_bad += longest - group_records_;
  index_ += longest - group_records_;
  group_is_open_ = false;
  ++group_;
}

void FileRunReader::fetch(Stream& stream, std::size_t most) {
  FileRecords records;
  try {
    records = stream.file.next(most);
  } catch (const Error& problem) {
    records = {};
    records.lost_at_end = 1;
    records.problems.push_back(problem);
  }
  for (const Error& problem : records.problems) note(problem);
  for (const std::string& sentence : records.remarks) remark(sentence);
  stream.ended = records.records.empty();
  stream.records += records.records.size() + records.lost_at_end;
  std::move(records.records.begin(), records.records.end(), std::back_inserter(stream.ahead));
}

// False where no stream of the group has a record left.
bool FileRunReader::fetch_all(std::size_t most) {
  bool any_left = false;
  for (Stream& stream : streams_) {
    if (!stream.ended && stream.ahead.empty()) fetch(stream, most);
    any_left = any_left || !stream.ahead.empty();
  }
  return any_left;
}

// As many records as the longest file of the group passes over: the others have ended before.
std::uint64_t FileRunReader::skip_in_group(std::uint64_t most) {
  std::uint64_t longest = 0;
  for (Stream& stream : streams_) {
    if (!stream.ended && !stream.file.skip) return 0;
  }
  for (Stream& stream : streams_) {
    if (stream.ended) continue;
    const std::uint64_t skipped = stream.file.skip(most);
    stream.records += skipped;
    longest = std::max(longest, skipped);
  }
  index_ += longest;
  group_records_ += longest;
  return longest;
}

std::uint64_t FileRunReader::skip_to(std::uint64_t index) {
  while (index_ < index && group_ < arrangement_.groups.size()) {
    if (!group_is_open_) {
      open_group();
      continue;
    }
    if (skip_in_group(index - index_) > 0) continue;
    if (fetch_all(1)) break;
    close_group();
  }
  return index_;
}

// Takes one record from each stream that still has one.
Record FileRunReader::join_next(RecordBlock& block) {
  Record record;
  record.index = index_++;
  ++group_records_;
  record.traces.resize(description_.channels.size());
  const auto& files = arrangement_.groups[group_].files;
  record.file = static_cast<std::uint32_t>(*std::find_if(
      files.begin(), files.end(), [](std::size_t file) { return file != FileGroups::no_file; }));
  for (Stream& stream : streams_) {
    if (stream.ahead.empty()) continue;
    FileRecords::One one = std::move(stream.ahead.front());
    stream.ahead.pop_front();
    std::copy(one.traces.begin(), one.traces.end(),
              record.traces.begin() + static_cast<std::ptrdiff_t>(stream.first_channel));
    if (!record.trigger) record.trigger = one.trigger;
    if (one.storage != stream.storage_noted) {
      stream.storage_noted = one.storage;
      block.storage.push_back(std::move(one.storage));
    }
  }
  return record;
}

RecordBlock FileRunReader::next_block(std::size_t max_records) {
  RecordBlock block;
  std::uint64_t samples = 0;
  for (Stream& stream : streams_) stream.storage_noted.reset();
  while (block.records.size() < max_records && samples < most_samples_at_once) {
    if (!group_is_open_) {
      if (group_ == arrangement_.groups.size()) break;
      open_group();
    }
    if (!fetch_all(max_records - block.records.size())) {
      close_group();
      continue;
    }
    Record record = join_next(block);
    const auto missing = std::count_if(record.traces.begin(), record.traces.end(),
                                       [](const Trace& trace) { return trace.empty(); });
    if (missing == static_cast<std::ptrdiff_t>(record.traces.size())) {
      ++account_.records_bad;
      continue;
    }
    ++account_.records_good;
    account_.traces_missing += static_cast<std::uint64_t>(missing);
    for (const Trace& trace : record.traces) samples += trace.size();
    block.records.push_back(std::move(record));
  }
  return block;
}

void FileRunReader::note(const Error& problem) {
  if (account_.problems.size() < most_problems && problem_kinds_.insert(kind_of(problem)).second) {
    account_.problems.push_back(problem);
  }
}

void FileRunReader::remark(const std::string& sentence) {
  if (account_.remarks.size() < most_problems && remarks_made_.insert(sentence).second) {
    account_.remarks.push_back(sentence);
  }
}

}  // namespace

std::size_t records_at_once(std::size_t asked, std::uint64_t samples_in_record) {
  const std::uint64_t fitting =
      std::max<std::uint64_t>(1, most_samples_at_once / std::max<std::uint64_t>(1, samples_in_record));
  return static_cast<std::size_t>(std::min<std::uint64_t>(asked, fitting));
}

std::vector<ByteSource> sources_of(const std::vector<std::filesystem::path>& files) {
  std::vector<ByteSource> sources;
  sources.reserve(files.size());
  for (const auto& file : files) {
    sources.push_back(ByteSource::from_file(file));
    sources.back().put_down();  // more may be named than can be open
  }
  return sources;
}

std::optional<FilePattern> pattern_of(const Settings& input) {
  const std::string text = input.text("pattern", "");
  if (!input.has("pattern")) return std::nullopt;
  return FilePattern(text, input.place().empty() ? "pattern" : input.place() + "/pattern");
}

FileArrangement arrange_files(std::vector<ByteSource> sources, const Settings& input) {
  FileArrangement arrangement;
  const std::optional<FilePattern> pattern = pattern_of(input);
  if (!pattern) {
    for (std::size_t i = 0; i < sources.size(); ++i) arrangement.groups.push_back({0, 0, {i}});
    arrangement.sources = std::move(sources);
    return arrangement;
  }
  std::vector<std::filesystem::path> names;
  std::map<std::filesystem::path, std::size_t> positions;
  for (const ByteSource& source : sources) {
    positions.emplace(source.name(), names.size());
    names.emplace_back(source.name());
  }
  FileGroups groups = group_files(names, *pattern, input.texts("channels"));
  for (const auto& file : groups.files) arrangement.sources.push_back(std::move(sources[positions.at(file)]));
  if (pattern->has_channel()) arrangement.channels = std::move(groups.channels);
  arrangement.groups = std::move(groups.groups);
  arrangement.remarks = std::move(groups.remarks);
  return arrangement;
}

std::unique_ptr<RecordReader> read_file_run(RunDescription description, FileArrangement arrangement,
                                            OpenRecordFile open) {
  return std::make_unique<FileRunReader>(std::move(description), std::move(arrangement), std::move(open));
}

}  // namespace firstedge
