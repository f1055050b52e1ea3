// Which file holds which channel of which record: file names sorted as people count, matched against a
// pattern.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// True if a comes before b when runs of digits are compared as numbers ("run_2.csv" before "run_10.csv");
/// names that differ in leading zeros alone are ordered by their bytes, so that the order is strict.
bool naturally_before(std::string_view a, std::string_view b);

/// A folder stands for the files in it, in natural order, without hidden files, "*.json" (setups and layouts)
/// and folders inside; other paths are kept as they are, in the order given. Throws Error for a folder that
/// cannot be read or holds no such file, and for an empty list.
std::vector<std::filesystem::path> expand_folders(const std::vector<std::filesystem::path>& files);

/// A file-name pattern such as "{channel}_{record}.csv". {channel} stands for any text but "/" that is not
/// empty, {record} for a number (a run of digits, taken whole, at most 18), "*" for any text but "/";
/// everything else stands for itself. A pattern with "/" is compared with as many last parts of the path as
/// it has itself, so that
/// "{record}/{channel}.csv" takes the number from the folder. Where a name can be read in several ways, the
/// leftmost of {channel} and "*" is as short as possible.
class FilePattern {
 public:
  /// Throws Error naming `place` for a pattern without {channel} and {record}, with one of them twice,
  /// another word in braces, more than 16 "*", or more than 1,000 bytes.
  FilePattern(std::string_view text, const std::string& place);

  struct Match {
    std::string channel;                  ///< empty if the pattern has no {channel}
    std::optional<std::uint64_t> record;  ///< nothing if the pattern has no {record}
  };
  /// Nothing if the name does not fit.
  std::optional<Match> match(const std::filesystem::path& file) const;

  bool has_channel() const { return has_channel_; }
  bool has_record() const { return has_record_; }
  const std::string& text() const { return text_; }

 private:
  struct Part {
    enum class Kind : std::uint8_t { literal, channel, record, any };
    Kind kind = Kind::literal;
    std::string text;
  };
  struct Attempt;
  bool match_from(Attempt& attempt, std::size_t part, std::size_t position) const;

  std::string text_;
  std::vector<Part> parts_;
  bool has_channel_ = false;
  bool has_record_ = false;
  std::size_t depth_ = 1;  // parts of the path it is compared with
};

/// Files of one run by record and channel.
struct FileGroups {
  static constexpr std::size_t no_file = static_cast<std::size_t>(-1);

  struct Group {
    std::uint64_t number = 0;        ///< as it stands in the name; 0 without {record}
    std::uint64_t index = 0;         ///< number less the lowest number of the run: Record::index
    std::vector<std::size_t> files;  ///< one a channel: position in FileGroups::files, or no_file if missing
  };

  std::vector<std::string> channels;         ///< {channel} texts in natural order, or one empty text
  std::vector<std::filesystem::path> files;  ///< those that matched, in the order of groups and channels
  std::vector<Group> groups;                 ///< by rising number
  std::vector<std::filesystem::path> unmatched;
  std::uint64_t files_missing = 0;    ///< channels without a file, over all groups
  std::uint64_t records_missing = 0;  ///< numbers between the lowest and the highest that no file has
  std::vector<std::string>
      remarks;  ///< sentences on the three above, each with its count and the first example
};

/// Sorts files into groups. wanted_channels, if not empty, gives the channels and their order; files of
/// others are left out as unmatched. Throws Error if no file matches, or two files stand for the same channel
/// of the same record.
FileGroups group_files(const std::vector<std::filesystem::path>& files, const FilePattern& pattern,
                       const std::vector<std::string>& wanted_channels = {});

}  // namespace firstedge
