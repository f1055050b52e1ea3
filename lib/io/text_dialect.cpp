#include "firstedge/io/text_dialect.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <array>
#include <map>

namespace firstedge {
namespace {

constexpr std::size_t sampled_lines = 200;  // at the end of what is looked at: past most headers

constexpr std::array<TextDialect, 10> known_dialects{{{',', '.'},
                                                      {';', '.'},
                                                      {'\t', '.'},
                                                      {'|', '.'},
                                                      {' ', '.'},
                                                      {';', ','},
                                                      {'\t', ','},
                                                      {'|', ','},
                                                      {' ', ','},
                                                      {',', ','}}};

std::vector<TextDialect> candidates(std::optional<char> delimiter, std::optional<char> decimal) {
  std::vector<TextDialect> chosen;
  if (delimiter) {
    if (decimal.value_or('.') == '.') chosen.push_back({*delimiter, '.'});
    if (decimal.value_or(',') == ',') chosen.push_back({*delimiter, ','});
    return chosen;
  }
  for (const TextDialect& one : known_dialects) {
    if (decimal.value_or(one.decimal) == one.decimal) chosen.push_back(one);
  }
  return chosen;
}

bool has(const std::string& shape, char kind) {
  return shape.find(kind) != std::string::npos;
}

bool is_clean(const std::string& shape) {
  return has(shape, 'n') && !has(shape, 't') && !has(shape, 'l');
}

std::vector<std::size_t> columns_of(const std::string& mask) {
  std::vector<std::size_t> columns;
  for (std::size_t i = 0; i < mask.size(); ++i) {
    if (mask[i] == 'n') columns.push_back(i);
  }
  return columns;
}

// How well a dialect explains lines.
struct Fit {
  TextDialect dialect;
  std::size_t lines = 0;  // that it explains
  std::vector<std::size_t> columns;
};

// Lines of numbers and nothing else, with the most common number of fields.
Fit fit_of_clean_lines(const std::vector<std::string>& shapes, TextDialect dialect) {
  std::map<std::size_t, std::size_t> lines_of_width;
  for (const std::string& shape : shapes) {
    if (is_clean(shape)) ++lines_of_width[shape.size()];
  }
  Fit fit{dialect, 0, {}};
  std::size_t width = 0;
  for (const auto& [one, lines] : lines_of_width) {
    if (lines < fit.lines) continue;
    fit.lines = lines;
    width = one;
  }
  for (std::size_t column = 0; column < width; ++column) {
    const auto with_number = std::count_if(shapes.begin(), shapes.end(), [&](const std::string& shape) {
      return is_clean(shape) && shape.size() == width && shape[column] == 'n';
    });
    if (2 * static_cast<std::size_t>(with_number) > fit.lines) fit.columns.push_back(column);
  }
  return fit;
}

// Lines with numbers in the same columns, whatever stands in the others; two numbers a line count for more.
Fit fit_of_mixed_lines(const std::vector<std::string>& shapes, TextDialect dialect) {
  std::map<std::string, std::size_t> lines_of_mask;
  for (std::string mask : shapes) {
    std::replace_if(
        mask.begin(), mask.end(), [](char kind) { return kind != 'n'; }, '.');
    mask.erase(mask.find_last_of('n') + 1);
    if (!mask.empty()) ++lines_of_mask[mask];
  }
  Fit fit{dialect, 0, {}};
  for (const auto& [mask, lines] : lines_of_mask) {
    const std::vector<std::size_t> columns = columns_of(mask);
    const bool is_wide = columns.size() >= 2;
    const bool fit_is_wide = fit.columns.size() >= 2;
    if (is_wide != fit_is_wide ? is_wide : lines > fit.lines) fit = {dialect, lines, columns};
  }
  return fit;
}

// True for "05", "234E-9": digits that nobody prints as a number of their own.
bool continues_a_number(std::string_view digits) {
  const std::size_t length = std::min(digits.find_first_not_of("0123456789"), digits.size());
  const bool padded = length > 1 && length == digits.size() && digits[0] == '0';
  const bool mantissa =
      length > 1 && length < digits.size() && (digits[length] == 'e' || digits[length] == 'E');
  return padded || mantissa;
}

// Signs that a comma between two whole numbers is a decimal comma: "0,05", "-0,5", "1,234E-9".
bool comma_is_decimal(std::span<const std::string_view> lines) {
  bool found = false;
  for (const std::string_view line : lines) {
    if (!is_clean(shape_of_line(line, {',', '.'}))) continue;
    if (line.find('.') != std::string_view::npos) return false;
    FieldCursor cursor(line, ',');
    bool first = true;
    while (const auto field = cursor.next()) {
      found = found || field->text == "-0" || (!first && !field->quoted && continues_a_number(field->text));
      first = false;
    }
  }
  return found;
}

// Of the fits that explain nearly as many lines as the best, the first with the most columns.
Fit widest_of_best(const std::vector<Fit>& fits) {
  std::size_t most_lines = 0;
  for (const Fit& fit : fits) most_lines = std::max(most_lines, fit.lines);
  Fit best;
  for (const Fit& fit : fits) {
    const bool good = fit.lines > 0 && 4 * fit.lines >= 3 * most_lines;
    if (good && (best.lines == 0 || fit.columns.size() > best.columns.size())) best = fit;
  }
  return best;
}

Fit best_fit(std::span<const std::string_view> lines, const std::vector<TextDialect>& dialects) {
  std::vector<Fit> clean_fits, mixed_fits;
  for (const TextDialect& dialect : dialects) {
    std::vector<std::string> shapes;
    shapes.reserve(lines.size());
    for (const std::string_view line : lines) shapes.push_back(shape_of_line(line, dialect));
    clean_fits.push_back(fit_of_clean_lines(shapes, dialect));
    mixed_fits.push_back(fit_of_mixed_lines(shapes, dialect));
  }
  const Fit clean = widest_of_best(clean_fits);
  const Fit mixed = widest_of_best(mixed_fits);
  const bool rows_hold_text = clean.lines < 2 && mixed.lines > 4 * clean.lines && mixed.columns.size() >= 2;
  return rows_hold_text || clean.lines == 0 ? mixed : clean;
}

}  // namespace

std::string shape_of_line(std::string_view line, TextDialect dialect) {
  std::string shape;
  FieldCursor cursor(line, dialect.delimiter);
  while (const auto field = cursor.next()) {
    // A quoted number may have the delimiter as its decimal sign; an unquoted one cannot.
    shape += "enlt"[static_cast<std::size_t>(kind_of_field(field->text, dialect.decimal))];
    if (shape.size() > most_text_columns) return shape;
  }
  shape.erase(shape.find_last_not_of('e') + 1);
  return shape;
}

std::optional<TextRows> find_rows(std::span<const std::string_view> lines, std::optional<char> delimiter,
                                  std::optional<char> decimal, const std::string& place) {
  std::vector<TextDialect> dialects = candidates(delimiter, decimal);
  const auto tail = lines.last(std::min(lines.size(), sampled_lines));
  const bool decimal_comma = !delimiter && !decimal && comma_is_decimal(tail);
  if (decimal_comma) std::erase_if(dialects, [](const TextDialect& one) { return one.delimiter == ','; });
  Fit fit = best_fit(tail, dialects);
  if (fit.lines == 0 && lines.size() > tail.size()) fit = best_fit(lines, dialects);
  if (fit.lines == 0 && decimal_comma) {
    throw Error(place, "the comma seems to stand between the fields and for the decimal sign too",
                "write the file with another delimiter, or set input/delimiter and input/decimal");
  }
  if (fit.lines == 0) return std::nullopt;
  if (fit.columns.size() > most_text_columns) {
    throw Error(place, "there are more than 1024 columns",
                "write one sample a line and one channel a column, or use another format");
  }
  return TextRows{fit.dialect, fit.columns};
}

std::optional<TextRows> rows_in_dialect(std::span<const std::string_view> lines, TextDialect dialect) {
  constexpr std::size_t looked_at = 30;
  const auto tail = lines.last(std::min(lines.size(), looked_at));
  std::vector<std::string> shapes;
  for (const std::string_view line : tail) shapes.push_back(shape_of_line(line, dialect));
  const Fit fit = fit_of_clean_lines(shapes, dialect);
  if (fit.columns.size() > most_text_columns || 2 * fit.lines <= tail.size()) return std::nullopt;
  return TextRows{dialect, fit.columns};
}

bool is_row(std::string_view line, const TextRows& rows) {
  const std::string shape = shape_of_line(line, rows.dialect);
  bool has_number = false;
  for (const std::size_t column : rows.number_columns) {
    if (column >= shape.size()) return false;
    if (shape[column] != 'n' && shape[column] != 'l') return false;
    has_number = has_number || shape[column] == 'n';
  }
  return has_number;
}

bool is_blank_line(std::string_view line, char delimiter) {
  return std::all_of(line.begin(), line.end(),
                     [delimiter](char c) { return c == ' ' || c == '\t' || c == '\r' || c == delimiter; });
}

std::size_t first_row(std::span<const std::string_view> lines, const TextRows& rows) {
  const auto found =
      std::find_if(lines.begin(), lines.end(), [&](std::string_view line) { return is_row(line, rows); });
  return static_cast<std::size_t>(found - lines.begin());
}

bool is_double_spaced(std::span<const std::string_view> lines, const TextRows& rows) {
  std::size_t seen = 0;
  for (std::size_t i = 0; i + 1 < lines.size() && seen < 20; i += 2, ++seen) {
    if (!is_row(lines[i], rows) || !is_blank_line(lines[i + 1], rows.dialect.delimiter)) return false;
  }
  return seen >= 3;
}

}  // namespace firstedge
