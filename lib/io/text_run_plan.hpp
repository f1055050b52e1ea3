// Which files of a text run make up which record, and what few of them tell of the whole.
#pragma once

#include "firstedge/io/file_pattern.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/text_layout.hpp"
#include "firstedge/io/text_options.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

struct TextRunPlan {
  struct Member {
    std::size_t file = 0;
    std::string channel;  ///< by the pattern; empty without
  };
  struct Group {
    std::optional<std::uint64_t> index;  ///< of its one record, by the pattern
    std::vector<Member> members;
  };
  std::vector<std::filesystem::path> files;
  std::vector<std::string> channels;  ///< by the pattern; empty without
  std::vector<Group> groups;
  std::vector<std::string> remarks;
  bool one_record_a_group = false;
};

/// Without a pattern each file is a group of its own. Throws Error where the pattern fits none.
TextRunPlan text_run_plan(const std::vector<std::filesystem::path>& files, const TextOptions& options,
                          const std::optional<FilePattern>& pattern);

/// The channel of a file's voltage column among those of the run.
std::string channel_name(const TextRunPlan::Member& member, const TextLayout& layout, std::size_t voltage);

struct TextRunLook {
  RunDescription description;
  std::optional<TextDialect> dialect;  ///< of the first file that could be read
};

/// Looks into few files to learn what the run is made of, as text_reader.hpp says. Throws Error (the first
/// met) where none of them can be read.
TextRunLook look_into_text_run(const TextRunPlan& plan, const TextOptions& options);

}  // namespace firstedge
