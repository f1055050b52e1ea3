// The layout of one text file taken for the next: runs of a file a trigger have the same header in each.
#pragma once

#include "firstedge/io/text_layout.hpp"
#include "firstedge/io/text_roles.hpp"
#include "firstedge/io/text_titles.hpp"

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// What a layout was found from: the file's lines from its first byte on, and what became of them.
struct LayoutEvidence {
  std::span<const std::string_view> lines;  ///< views into one text, the header's first
  std::size_t header_lines = 0;
  std::size_t columns = 0;  ///< texts beside the numbers among them
  const TextRows& rows;
  const std::vector<ColumnTitle>& titles;
  const ColumnRoles& roles;
};

/// The header's bytes if these alone tell the layout of every file whose rows are numbers in the same columns
/// and nothing else; "" where the numbers themselves or texts beside them have a say in it.
std::string telling_header(const LayoutEvidence& evidence, const TextOptions& options);

/// True only if find_layout would find this layout in the source too, under the same options and with
/// layout.dialect for the hint: the source has the same telling header, and the rows that find_layout looks
/// at are as that asks. False decides nothing.
bool is_layout_of(const TextLayout& layout, TextSource& source);

}  // namespace firstedge
