#include "firstedge/io/record_reader.hpp"

#include "firstedge/io/binary_layout.hpp"
#include "firstedge/io/binary_reader.hpp"
#include "firstedge/io/block_reader.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/file_pattern.hpp"
#include "firstedge/io/file_run.hpp"
#include "firstedge/io/hdf5_reader.hpp"
#include "firstedge/io/npy_header.hpp"
#include "firstedge/io/npy_reader.hpp"
#include "firstedge/io/text_reader.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <string_view>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Bytes = std::span<const std::byte>;
using Paths = std::vector<std::filesystem::path>;

/// One format: its name, how a file of it is known by its first bytes or its name, and who opens a run of
/// such files.
struct Format {
  std::string_view name;
  bool (*is_format)(Bytes head, const std::filesystem::path& file);
  std::unique_ptr<RecordReader> (*open)(const Paths& files, const Settings& input);
};

// The formats, in the order they are tried. A new format is one line here and a file of its own.
constexpr std::array formats{
    Format{"hdf5", [](Bytes head, const std::filesystem::path&) { return starts_as_hdf5(head); }, &open_hdf5},
    Format{"npy", [](Bytes head, const std::filesystem::path&) { return starts_as_npy(head); },
           [](const Paths& files, const Settings& input) { return open_npy(sources_of(files), input); }},
    // "#1 ..." may be a comment in a text: a block holds something else, or has a layout beside it.
    Format{"block",
           [](Bytes head, const std::filesystem::path& file) {
             return starts_as_block(head) && (!looks_like_text(head) || has_layout_beside(file));
           },
           [](const Paths& files, const Settings& input) { return open_block(sources_of(files), input); }},
    Format{"binary", [](Bytes, const std::filesystem::path& file) { return has_layout_beside(file); },
           [](const Paths& files, const Settings& input) { return open_binary(sources_of(files), input); }},
    Format{"text", [](Bytes head, const std::filesystem::path&) { return looks_like_text(head); },
           &open_text},
};

constexpr std::size_t head_bytes = 4096;  // enough to tell text from numbers

std::string format_names() {
  std::string names;
  for (const Format& format : formats) names += (names.empty() ? "" : ", ") + std::string(format.name);
  return names;
}

const Format* format_named(std::string_view name) {
  const auto* found =
      std::find_if(formats.begin(), formats.end(), [&](const Format& format) { return format.name == name; });
  return found == formats.end() ? nullptr : found;
}

// Nothing if the content is of no format known here.
const Format* format_of(const std::filesystem::path& file) {
  const std::vector<std::byte> head = ByteSource::from_file(file).head(head_bytes);
  const auto* found = std::find_if(formats.begin(), formats.end(),
                                   [&](const Format& format) { return format.is_format(head, file); });
  return found == formats.end() ? nullptr : found;
}

// The one format of all files that belong to the run. A file of no format known (empty, or damaged at its
// start) is left to the reader of the others, which counts it.
const Format& common_format(const Paths& files, const Settings& input) {
  const std::optional<FilePattern> pattern = pattern_of(input);
  const Format* common = nullptr;
  std::string first_known;
  std::string first_unknown;
  for (const auto& file : files) {
    if (pattern && !pattern->match(file)) continue;
    const Format* format = format_of(file);
    if (format == nullptr) {
      if (first_unknown.empty()) first_unknown = file.string();
      continue;
    }
    if (common != nullptr && common != format) {
      throw Error(
          file.string(),
          fmt::format("is in the format {}, but {} is in {}", format->name, first_known, common->name),
          "read files of one format at a time");
    }
    if (common == nullptr) first_known = file.string();
    common = format;
  }
  if (common != nullptr) return *common;
  if (first_unknown.empty())
    input.refuse("pattern", "fits none of the files", "correct it or give other files");
  throw Error(
      first_unknown, "is empty or in no format known here",
      fmt::format("name the format in the Setup's input group, \"format\": one of {}", format_names()));
}

}  // namespace

std::unique_ptr<RecordReader> open_records(const std::vector<std::filesystem::path>& files,
                                           const Settings& input) {
  const Paths expanded = expand_folders(files);
  const std::string name = input.text("format", "");
  if (input.has("format")) {
    const Format* format = format_named(name);
    if (format == nullptr) {
      input.refuse("format", fmt::format("is '{}'", name), fmt::format("choose one of {}", format_names()));
    }
    return format->open(expanded, input);
  }
  return common_format(expanded, input).open(expanded, input);
}

}  // namespace firstedge
