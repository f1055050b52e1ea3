// A Result as plain text: the answer first, what to be careful about last, no line over 100 columns unless it
// must be.
#include "firstedge/report/report.hpp"
#include "firstedge/report/shown_table.hpp"
#include "firstedge/report/words.hpp"

#include <algorithm>
#include <numeric>
#include <span>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t page_width = 100;
constexpr std::size_t gap = 2;  // between columns, and before an indented block
constexpr std::size_t narrowest_words = 18, widest_head = 18;

std::string spaces(std::size_t count) {
  return std::string(count, ' ');
}

std::string to_the_left(const std::string& text, std::size_t width) {
  return text + spaces(width - std::min(width, shown_width(text)));
}

std::string to_the_right(const std::string& text, std::size_t width) {
  return spaces(width - std::min(width, shown_width(text))) + text;
}

std::string without_end_spaces(std::string line) {
  line.erase(line.find_last_not_of(' ') + 1);
  return line;
}

// Words wrapped behind a sign, the following lines set in under the first.
std::string paragraph(const std::string& sign, const std::string& words) {
  const std::size_t indent = shown_width(sign);
  std::string text;
  for (const std::string& line : wrapped(words, page_width - indent))
    text += without_end_spaces((text.empty() ? sign : spaces(indent)) + line) + "\n";
  return text;
}

std::string figures_text(const std::vector<Figure>& figures) {
  constexpr std::size_t widest_label = 48;
  std::vector<std::vector<std::string>> labels;
  std::size_t width = 0;
  for (const Figure& figure : figures) {
    labels.push_back(wrapped(clean_words(figure.label), widest_label));
    for (const std::string& line : labels.back()) width = std::max(width, shown_width(line));
  }
  std::string text;
  for (std::size_t at = 0; at < figures.size(); ++at) {
    for (std::size_t line = 0; line + 1 < labels[at].size(); ++line)
      text += spaces(gap) + without_end_spaces(labels[at][line]) + "\n";
    text += paragraph(spaces(gap) + to_the_left(labels[at].back(), width) + spaces(gap),
                      format_estimate(figures[at].estimate, clean_words(figures[at].unit)));
  }
  return text;
}

// One column as lines of equal width: the head (unit last), and for each row one or more lines.
struct Column {
  bool numeric = false;
  std::size_t width = 0;
  std::vector<std::string> head;
  std::vector<std::vector<std::string>> rows;
};

// Numbers under each other at the point, and at the sign of the uncertainty.
std::vector<std::string> aligned_numbers(const ShownColumn& column) {
  std::size_t whole = 0, fraction = 0, whole_u = 0, fraction_u = 0;
  for (const ShownCell& cell : column.cells) {
    whole = std::max(whole, shown_width(cell.value.whole));
    fraction = std::max(fraction, cell.value.fraction.size());
    whole_u = std::max(whole_u, cell.uncertainty.whole.size());
    fraction_u = std::max(fraction_u, cell.uncertainty.fraction.size());
  }
  const std::string sign = " ± ";
  const std::size_t uncertainty_width = whole_u == 0 ? 0 : shown_width(sign) + whole_u + fraction_u;
  std::vector<std::string> texts;
  for (const ShownCell& cell : column.cells) {
    if (!cell.words.empty()) {
      texts.push_back(cell.words);
      continue;
    }
    std::string text = to_the_right(cell.value.whole, whole) + to_the_left(cell.value.fraction, fraction);
    if (cell.uncertainty.whole.empty()) {
      text += spaces(uncertainty_width);
    } else {
      text += sign + to_the_right(cell.uncertainty.whole, whole_u) +
              to_the_left(cell.uncertainty.fraction, fraction_u);
    }
    texts.push_back(text);
  }
  return texts;
}

Column laid_out(const ShownColumn& shown, std::size_t widest_words) {
  Column column{.numeric = shown.numeric};
  std::size_t widest = 0;
  for (const std::string& text : aligned_numbers(shown)) {
    column.rows.push_back(shown.numeric ? std::vector{text} : wrapped(text, widest_words));
    for (const std::string& line : column.rows.back()) widest = std::max(widest, shown_width(line));
  }
  const std::string unit = shown.unit.empty() ? "" : "(" + shown.unit + ")";
  column.head = wrapped(shown.label, std::max(widest, std::min(widest_head, widest_words)));
  column.head.push_back(unit);
  for (const std::string& line : column.head) widest = std::max(widest, shown_width(line));
  column.width = widest;
  return column;
}

std::string row_text(const std::vector<const Column*>& columns,
                     const std::vector<std::vector<std::string>>& cells, bool at_the_bottom) {
  std::size_t height = 0;
  for (const auto& cell : cells) height = std::max(height, cell.size());
  std::string text;
  for (std::size_t line = 0; line < height; ++line) {
    std::string row;
    for (std::size_t at = 0; at < columns.size(); ++at) {
      const std::size_t skipped = at_the_bottom ? height - cells[at].size() : 0;
      const std::string words =
          line < skipped || line - skipped >= cells[at].size() ? "" : cells[at][line - skipped];
      row += spaces(gap) + (columns[at]->numeric ? to_the_right(words, columns[at]->width)
                                                 : to_the_left(words, columns[at]->width));
    }
    text += without_end_spaces(row) + "\n";
  }
  return text;
}

// Some columns of a table side by side.
std::string block_text(const std::vector<const Column*>& columns, std::size_t row_count) {
  std::vector<std::vector<std::string>> cells;
  std::size_t width = 0;
  bool has_units = false;
  for (const Column* column : columns) {
    cells.push_back(column->head);
    width += column->width + gap;
    has_units = has_units || !column->head.back().empty();
  }
  if (!has_units) {
    for (auto& head : cells) head.pop_back();
  }
  std::string text = row_text(columns, cells, true) + spaces(gap) + std::string(width - gap, '-') + "\n";
  for (std::size_t row = 0; row < row_count; ++row) {
    for (std::size_t at = 0; at < columns.size(); ++at) cells[at] = columns[at]->rows[row];
    text += row_text(columns, cells, false);
  }
  return text;
}

std::size_t total_width(const std::vector<Column>& columns) {
  return std::accumulate(columns.begin(), columns.end(), std::size_t{0},
                         [](std::size_t sum, const Column& column) { return sum + column.width + gap; });
}

// A table too wide for the page: first its words are wrapped, then it is told in parts that repeat the first
// column.
std::string whole_table_text(const Table& table) {
  const std::vector<ShownColumn> shown = shown_columns(table);
  std::vector<Column> columns;
  for (const std::size_t widest_words : {page_width / 2, page_width / 3, narrowest_words}) {
    columns.clear();
    for (const ShownColumn& column : shown) columns.push_back(laid_out(column, widest_words));
    if (total_width(columns) <= page_width) break;
  }
  std::string text = paragraph("", clean_words(table.title));
  for (std::size_t next = 0; next < columns.size();) {
    std::vector<const Column*> block;
    std::size_t width = 0;
    const std::size_t first = next;
    if (first > 0) {
      block.push_back(&columns.front());
      width = columns.front().width + gap;
    }
    do {
      width += columns[next].width + gap;
      block.push_back(&columns[next++]);
    } while (next < columns.size() && width + columns[next].width + gap <= page_width);
    if (first > 0) {
      const bool one = first + 1 == next;
      text +=
          one ? fmt::format("\n  the same rows, column {} of {}\n", next, columns.size())
              : fmt::format("\n  the same rows, columns {} to {} of {}\n", first + 1, next, columns.size());
    }
    text += block_text(block, table.rows.size());
  }
  if (table.rows.empty()) text += "  none\n";
  return text;
}

// The first rows of a long table; a screen holds no more.
std::string table_text(const Table& table) {
  constexpr std::size_t most_rows = 40;
  std::string text;
  if (table.rows.size() > most_rows) {
    Table first = table;
    first.rows.resize(most_rows);
    text = whole_table_text(first) + fmt::format("  ... and {} more rows, on the page and in the JSON\n",
                                                 table.rows.size() - most_rows);
  } else {
    text = whole_table_text(table);
  }
  if (!table.note.empty()) text += paragraph(spaces(gap), clean_words(table.note));
  return text;
}

std::string plots_text(const std::vector<Plot>& plots) {
  std::string titles;
  for (const Plot& plot : plots) titles += (titles.empty() ? "" : "; ") + clean_words(plot.title);
  return paragraph("Plots on the page: ", titles + ".");
}

std::string provenance_text(const Provenance& made) {
  std::string text;
  if (!made.program.empty()) text += paragraph("Made by ", clean_words(made.program + " " + made.version));
  if (!made.command.empty()) text += paragraph("  command  ", clean_words(made.command));
  constexpr std::size_t inputs_told = 4;
  const std::size_t told = std::min(made.inputs.size(), inputs_told);
  for (const Provenance::Input& input : std::span(made.inputs).first(told)) {
    text += paragraph("  input    ", clean_words(fmt::format("{}, {} bytes, SHA-256 {}", input.name,
                                                             input.bytes, input.sha256)));
  }
  if (made.inputs.size() > told)
    text += fmt::format("  and {} more inputs, on the page and in the JSON\n", made.inputs.size() - told);
  for (const auto& [name, value] : made.options)
    text += paragraph("  option   ", clean_words(fmt::format("{} = {}", name, value)));
  if (!made.setup.empty())
    text += paragraph("  setup    ",
                      fmt::format("{} bytes, in full on the page and in the JSON", made.setup.size()));
  return text;
}

std::string list_text(const std::string& head, const std::string& sign,
                      const std::vector<std::string>& items) {
  std::string text = head + "\n";
  for (const std::string& item : items) text += paragraph(sign, clean_words(item));
  return text;
}

}  // namespace

std::string to_text(const Result& result) {
  std::vector<std::string> blocks;
  std::string opening;
  if (!result.title.empty()) opening += paragraph("", clean_words(result.title));
  if (!result.answer.empty()) opening += paragraph("", clean_words(result.answer));
  if (!opening.empty()) blocks.push_back(opening);
  if (!result.figures.empty()) blocks.push_back(figures_text(result.figures));
  for (const Table& table : result.tables) blocks.push_back(table_text(table));
  if (!result.plots.empty()) blocks.push_back(plots_text(result.plots));
  if (const std::string made = provenance_text(result.provenance); !made.empty()) blocks.push_back(made);
  if (!result.cautions.empty()) blocks.push_back(list_text("Cautions", "  - ", result.cautions));
  if (!result.warnings.empty()) blocks.push_back(list_text("WARNINGS", "  ! ", result.warnings));
  std::string text;
  for (const std::string& block : blocks) text += (text.empty() ? "" : "\n") + block;
  return text;
}

}  // namespace firstedge
