#include "firstedge/io/file_pattern.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <charconv>
#include <map>
#include <set>
#include <system_error>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_pattern_bytes = 1000;
constexpr std::size_t most_wildcards = 16;
constexpr std::size_t most_record_digits = 18;  // fits an int64

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

std::size_t digits_at(std::string_view text) {
  const auto end = std::find_if_not(text.begin(), text.end(), is_digit);
  return static_cast<std::size_t>(end - text.begin());
}

std::string_view without_zeros(std::string_view digits) {
  return digits.substr(std::min(digits.find_first_not_of('0'), digits.size()));
}

// <0, 0 or >0 like std::string_view::compare, runs of digits by their value.
int natural_order(std::string_view a, std::string_view b) {
  while (!a.empty() && !b.empty()) {
    if (is_digit(a.front()) && is_digit(b.front())) {
      const std::size_t a_length = digits_at(a);
      const std::size_t b_length = digits_at(b);
      const std::string_view a_number = without_zeros(a.substr(0, a_length));
      const std::string_view b_number = without_zeros(b.substr(0, b_length));
      if (a_number.size() != b_number.size()) return a_number.size() < b_number.size() ? -1 : 1;
      if (const int order = a_number.compare(b_number); order != 0) return order;
      a.remove_prefix(a_length);
      b.remove_prefix(b_length);
    } else {
      if (a.front() != b.front()) {
        return static_cast<unsigned char>(a.front()) < static_cast<unsigned char>(b.front()) ? -1 : 1;
      }
      a.remove_prefix(1);
      b.remove_prefix(1);
    }
  }
  return static_cast<int>(!a.empty()) - static_cast<int>(!b.empty());
}

// The last `depth` parts of a path, joined by '/'.
std::string last_parts(const std::filesystem::path& file, std::size_t depth) {
  std::string name = file.filename().string();
  std::filesystem::path rest = file.parent_path();
  for (; depth > 1 && rest.has_filename(); --depth) {
    name.insert(0, rest.filename().string() + "/");
    rest = rest.parent_path();
  }
  return name;
}

std::vector<std::filesystem::path> files_in(const std::filesystem::path& folder) {
  std::vector<std::string> names;
  std::error_code failure;
  for (auto entry = std::filesystem::directory_iterator(folder, failure);
       !failure && entry != std::filesystem::directory_iterator(); entry.increment(failure)) {
    std::string name = entry->path().filename().string();
    if (name.starts_with('.') || name.ends_with(".json")) continue;
    std::error_code ignored;  // what cannot be looked at is kept, and told when it is opened
    if (!entry->is_directory(ignored)) names.push_back(std::move(name));
  }
  if (failure)
    throw Error(folder.string(), "cannot be read: " + failure.message(), "check the right to read it");
  if (names.empty())
    throw Error(folder.string(), "the folder holds no data file", "name a folder with records in it");
  std::sort(names.begin(), names.end(), naturally_before);
  std::vector<std::filesystem::path> files;
  files.reserve(names.size());
  for (const std::string& name : names) files.push_back(folder / name);
  return files;
}

std::string counted(std::uint64_t count, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", count, count == 1 ? one : many);
}

// What was found for one record number: the file of each channel, by the channel's position.
using FilesByChannel = std::map<std::size_t, std::filesystem::path>;

struct Sorted {
  std::vector<std::string> channels;
  std::map<std::uint64_t, FilesByChannel> records;
  std::vector<std::filesystem::path> unmatched;
};

Sorted sort_files(const std::vector<std::filesystem::path>& files, const FilePattern& pattern,
                  const std::vector<std::string>& wanted_channels) {
  Sorted sorted;
  std::vector<std::pair<FilePattern::Match, const std::filesystem::path*>> matched;
  std::set<std::string> names;
  const std::set<std::string> wanted(wanted_channels.begin(), wanted_channels.end());
  const bool choose = pattern.has_channel() && !wanted.empty();
  for (const auto& file : files) {
    auto match = pattern.match(file);
    if (!match || (choose && !wanted.contains(match->channel))) {
      sorted.unmatched.push_back(file);
      continue;
    }
    names.insert(match->channel);
    matched.emplace_back(std::move(*match), &file);
  }
  if (choose) {
    sorted.channels = wanted_channels;
  } else {
    sorted.channels.assign(names.begin(), names.end());
    std::sort(sorted.channels.begin(), sorted.channels.end(), naturally_before);
  }
  std::map<std::string, std::size_t> positions;
  for (std::size_t i = 0; i < sorted.channels.size(); ++i) positions.emplace(sorted.channels[i], i);
  for (const auto& [match, file] : matched) {
    const auto [twin, is_new] =
        sorted.records[match.record.value_or(0)].emplace(positions.at(match.channel), *file);
    if (!is_new) {
      throw Error(file->string(),
                  fmt::format("stands for the same record and channel as {}", twin->second.string()),
                  "leave one of the two out, or tell them apart in \"pattern\"");
    }
  }
  return sorted;
}

void add_remarks(FileGroups& groups, const std::string& first_missing, std::uint64_t first_gap) {
  if (!groups.unmatched.empty()) {
    groups.remarks.push_back(fmt::format("{} left out, not fitting the file-name pattern; the first is {}",
                                         counted(groups.unmatched.size(), "file is", "files are"),
                                         groups.unmatched.front().string()));
  }
  if (groups.files_missing > 0) {
    groups.remarks.push_back(
        fmt::format("{} missing; the first is {}",
                    counted(groups.files_missing, "channel file is", "channel files are"), first_missing));
  }
  if (groups.records_missing > 0) {
    groups.remarks.push_back(
        fmt::format("{} missing between the first and the last; the first is {}",
                    counted(groups.records_missing, "record number is", "record numbers are"), first_gap));
  }
}

}  // namespace

bool naturally_before(std::string_view a, std::string_view b) {
  const int order = natural_order(a, b);
  return order != 0 ? order < 0 : a < b;
}

std::vector<std::filesystem::path> expand_folders(const std::vector<std::filesystem::path>& files) {
  if (files.empty()) throw Error("files", "none is given", "name at least one file or folder");
  std::vector<std::filesystem::path> expanded;
  for (const auto& file : files) {
    std::error_code ignored;  // a path that is not there is told when it is opened
    if (std::filesystem::is_directory(file, ignored)) {
      const auto inside = files_in(file);
      expanded.insert(expanded.end(), inside.begin(), inside.end());
    } else {
      expanded.push_back(file);
    }
  }
  return expanded;
}

FilePattern::FilePattern(std::string_view text, const std::string& place) : text_(text) {
  const auto refuse = [&](const std::string& problem) {
    throw Error(place, problem, "write it like \"{channel}_{record}.csv\"");
  };
  if (text.size() > most_pattern_bytes) refuse(fmt::format("has {} bytes", text.size()));
  const std::map<std::string_view, Part::Kind> words{
      {"{channel}", Part::Kind::channel}, {"{record}", Part::Kind::record}, {"*", Part::Kind::any}};
  std::size_t wildcards = 0;
  while (!text.empty()) {
    const char first = text.front();
    const std::size_t length = first == '{'   ? std::min(text.find('}'), text.size() - 1) + 1
                               : first == '*' ? 1
                                              : std::min(text.find_first_of("{*"), text.size());
    const std::string_view piece = text.substr(0, length);
    text.remove_prefix(length);
    const auto word = words.find(piece);
    if (first == '{' && word == words.end()) refuse(fmt::format("'{}' is not a word known here", piece));
    const Part::Kind kind = word == words.end() ? Part::Kind::literal : word->second;
    if (kind == Part::Kind::channel && std::exchange(has_channel_, true)) refuse("has {channel} twice");
    if (kind == Part::Kind::record && std::exchange(has_record_, true)) refuse("has {record} twice");
    if (kind == Part::Kind::any && ++wildcards > most_wildcards) refuse("has more than 16 '*'");
    parts_.push_back({kind, std::string(piece)});
  }
  if (!has_channel_ && !has_record_) refuse("has neither {channel} nor {record}");
  depth_ += static_cast<std::size_t>(std::count(text_.begin(), text_.end(), '/'));
}

// One name being matched: what each part took, and which (part, position) pairs are known not to lead to a
// match, so that the time grows with the square of the name's length at most.
struct FilePattern::Attempt {
  std::string name;
  std::vector<std::string_view> found;
  std::vector<bool> failed;
};

std::optional<FilePattern::Match> FilePattern::match(const std::filesystem::path& file) const {
  Attempt attempt{last_parts(file, depth_), std::vector<std::string_view>(parts_.size()), {}};
  attempt.failed.resize(parts_.size() * (attempt.name.size() + 1));
  if (!match_from(attempt, 0, 0)) return std::nullopt;
  Match match;
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    const std::string_view found = attempt.found[i];
    if (parts_[i].kind == Part::Kind::channel) match.channel = found;
    if (parts_[i].kind == Part::Kind::record) {
      std::uint64_t number = 0;
      std::from_chars(found.data(), found.data() + found.size(), number);
      match.record = number;
    }
  }
  return match;
}

// Fits parts_[part...] to the name from `position` to its end. Depth of calls: the number of parts.
bool FilePattern::match_from(Attempt& attempt, std::size_t part, std::size_t position) const {
  if (part == parts_.size()) return position == attempt.name.size();
  const std::size_t pair = part * (attempt.name.size() + 1) + position;
  if (attempt.failed[pair]) return false;
  const std::string_view rest = std::string_view(attempt.name).substr(position);
  const Part& now = parts_[part];
  std::size_t shortest = 0;
  std::size_t longest = std::min(rest.find('/'), rest.size());
  if (now.kind == Part::Kind::channel) shortest = 1;
  if (now.kind == Part::Kind::literal) {
    shortest = now.text.size();
    longest = rest.starts_with(now.text) ? shortest : 0;
  }
  if (now.kind == Part::Kind::record) {
    shortest = std::max<std::size_t>(1, digits_at(rest));
    longest = std::min(digits_at(rest), most_record_digits);
  }
  for (std::size_t length = shortest; length <= longest; ++length) {
    attempt.found[part] = rest.substr(0, length);
    if (match_from(attempt, part + 1, position + length)) return true;
  }
  attempt.failed[pair] = true;
  return false;
}

FileGroups group_files(const std::vector<std::filesystem::path>& files, const FilePattern& pattern,
                       const std::vector<std::string>& wanted_channels) {
  Sorted sorted = sort_files(files, pattern, wanted_channels);
  if (sorted.records.empty()) {
    throw Error(files.empty() ? "files" : files.front().string(),
                fmt::format("none of {} fits the pattern '{}'", counted(files.size(), "file", "files"),
                            pattern.text()),
                "correct \"pattern\" in the Setup's input group");
  }
  FileGroups groups;
  groups.channels = std::move(sorted.channels);
  groups.unmatched = std::move(sorted.unmatched);
  const std::uint64_t lowest = sorted.records.begin()->first;
  std::string first_missing;
  std::uint64_t first_gap = 0;
  std::uint64_t expected = lowest;
  for (const auto& [number, by_channel] : sorted.records) {
    if (number != expected && groups.records_missing == 0) first_gap = expected;
    groups.records_missing += number - expected;
    expected = number + 1;
    FileGroups::Group group{number, number - lowest, {}};
    for (std::size_t channel = 0; channel < groups.channels.size(); ++channel) {
      const auto file = by_channel.find(channel);
      if (file == by_channel.end()) {
        if (groups.files_missing++ == 0) {
          first_missing = fmt::format("channel '{}' of record {}", groups.channels[channel], number);
        }
        group.files.push_back(FileGroups::no_file);
        continue;
      }
      group.files.push_back(groups.files.size());
      groups.files.push_back(file->second);
    }
    groups.groups.push_back(std::move(group));
  }
  add_remarks(groups, first_missing, first_gap);
  return groups;
}

}  // namespace firstedge
