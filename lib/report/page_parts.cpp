// Escaped words and tables in HTML.
#include "firstedge/report/page_parts.hpp"

#include "firstedge/core/units.hpp"
#include "firstedge/report/shown_table.hpp"
#include "firstedge/report/words.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

namespace firstedge {
namespace {

std::string escaped(const std::string& clean) {
  std::string text;
  text.reserve(clean.size());
  for (const char c : clean) {
    switch (c) {
      case '&':
        text += "&amp;";
        break;
      case '<':
        text += "&lt;";
        break;
      case '>':
        text += "&gt;";
        break;
      case '"':
        text += "&quot;";
        break;
      case '\'':
        text += "&#39;";
        break;
      default:
        text += c;
    }
  }
  return text;
}

bool stands_for_a_unit(std::string_view word) {
  constexpr std::array<std::string_view, 20> units{"fs",  "ps", "ns", "µs",    "ms", "s",   "µV",
                                                   "mV",  "V",  "pC", "fC",    "Hz", "kHz", "MHz",
                                                   "GHz", "dB", "%",  "ppm/K", "°C", "m"};
  return std::find(units.begin(), units.end(), word) != units.end();
}

// Room that shows nothing, as wide as these digits; it is neither copied nor read aloud.
std::string fill(const std::string& digits) {
  return digits.empty() ? digits : fmt::format("<i data-fill=\"{}\"></i>", digits);
}

// The widest parts of the numbers of one column, as zeros: "000", ".00".
struct Widest {
  std::string whole, fraction;

  void take(const ShownNumber& number) {
    whole.resize(std::max(whole.size(), number.whole.size()), '0');
    if (number.fraction.size() > fraction.size())
      fraction = fmt::format(".{:0<{}}", "", number.fraction.size() - 1);
  }
  std::string missing_after(const ShownNumber& number) const {
    return fill(number.fraction.empty() ? fraction : fraction.substr(number.fraction.size()));
  }
  std::string missing_before(const ShownNumber& number) const {
    return fill(whole.substr(number.whole.size()));
  }
};

// How the cells of one column are drawn.
struct ColumnStyle {
  bool numeric = false;
  Widest value, uncertainty;
};

ColumnStyle style_of(const ShownColumn& column) {
  ColumnStyle style{.numeric = column.numeric};
  for (const ShownCell& cell : column.cells) {
    style.value.take(cell.value);
    style.uncertainty.take(cell.uncertainty);
  }
  return style;
}

// The value with a true minus sign, then the uncertainty, each lined up with those above and below at the
// point.
std::string number_html(const ShownCell& cell, const ColumnStyle& style) {
  std::string text =
      as_printed(cell.value.whole) + cell.value.fraction + style.value.missing_after(cell.value);
  if (style.uncertainty.whole.empty()) return text;
  if (cell.uncertainty.whole.empty())
    return text + fill(" ± " + style.uncertainty.whole + style.uncertainty.fraction);
  return text + " ± " + style.uncertainty.missing_before(cell.uncertainty) + cell.uncertainty.whole +
         cell.uncertainty.fraction + style.uncertainty.missing_after(cell.uncertainty);
}

std::string cell_html(const ShownCell& cell, const ColumnStyle& style) {
  if (!style.numeric) {
    // Bytes that stand on one line: of several words, and of one, such as a time on UTC.
    const std::size_t unbroken = cell.words.find(' ') != std::string::npos ? 28 : 40;
    return (cell.words.size() <= unbroken ? "<td class=\"word\">" : "<td>") +
           held_together(escaped(cell.words)) + "</td>";
  }
  if (!cell.words.empty())
    return fmt::format("<td class=\"number\">{}</td>",
                       cell.words == "-" ? "–" : escaped(as_printed(cell.words)));
  return "<td class=\"number\">" + number_html(cell, style) + "</td>";
}

}  // namespace

std::string html(std::string_view words) {
  return escaped(clean_words(words));
}

std::string as_printed(std::string quantity) {
  const std::size_t at = quantity.starts_with('(') ? 1 : 0;
  if (quantity.substr(at, 1) == "-") quantity.replace(at, 1, "−");
  // "7.04e-12" of a plain number, with or without a unit behind it.
  const std::size_t e = quantity.find('e');
  const auto digit = [&](std::size_t place) {
    return place < quantity.size() && quantity[place] >= '0' && quantity[place] <= '9';
  };
  const bool sign = e + 1 < quantity.size() && (quantity[e + 1] == '-' || quantity[e + 1] == '+');
  if (e == std::string::npos || e == 0 || !digit(e - 1) || !sign || !digit(e + 2)) return quantity;
  const std::size_t end = std::min(quantity.find_first_not_of("0123456789", e + 2), quantity.size());
  const int exponent = std::stoi(quantity.substr(e + 1, end - e - 1));
  return quantity.substr(0, e) + " × " + power_of_ten(exponent) + quantity.substr(end);
}

std::string held_together(const std::string& escaped_words) {
  std::string text = escaped_words;
  for (const std::string_view part :
       {std::string_view(" ± "), std::string_view(" × "), std::string_view(" = ")}) {
    const std::string held = "\u00A0" + std::string(part.substr(1, part.size() - 2)) + "\u00A0";
    for (std::size_t at = 0; (at = text.find(part, at)) != std::string::npos; at += held.size())
      text.replace(at, part.size(), held);
  }
  const auto digit = [&](std::size_t at) { return text[at] >= '0' && text[at] <= '9'; };
  for (std::size_t at = 1; (at = text.find(' ', at)) != std::string::npos; ++at) {
    const bool bracket = text[at - 1] == ')' && at > 1 && digit(at - 2);
    const std::size_t end = std::min(text.find_first_of(" ,;.:)(", at + 1), text.size());
    const bool unit = digit(at - 1) && stands_for_a_unit(std::string_view(text).substr(at + 1, end - at - 1));
    if (bracket || unit) text.replace(at, 1, "\u00A0");
  }
  return text;
}

std::string html_lines(std::string_view text) {
  return escaped(clean_lines(text));
}

std::string table_html(const Table& table, std::string_view id) {
  const std::vector<ShownColumn> columns = shown_columns(table);
  std::vector<ColumnStyle> styles;
  std::string head;
  for (const ShownColumn& column : columns) {
    styles.push_back(style_of(column));
    head += fmt::format(
        "<th scope=\"col\"{}>{}{}</th>", column.numeric ? " class=\"number\"" : "", escaped(column.label),
        column.unit.empty() ? "" : "<span class=\"unit\">(" + escaped(column.unit) + ")</span>");
  }
  std::string body;
  for (std::size_t row = 0; row < table.rows.size(); ++row) {
    body += "<tr>";
    for (std::size_t at = 0; at < columns.size(); ++at) body += cell_html(columns[at].cells[row], styles[at]);
    body += "</tr>\n";
  }
  if (table.rows.empty()) body = fmt::format("<tr><td colspan=\"{}\">none</td></tr>\n", columns.size());
  // A table longer than its window is scrolled: its length is told beside the title.
  constexpr std::size_t rows_in_view = 15;
  const std::string count = table.rows.size() > rows_in_view
                                ? fmt::format(" <span class=\"count\">{} rows</span>", table.rows.size())
                                : "";
  std::string text = fmt::format(
      "<div class=\"table\" id=\"{0}\"><h3 id=\"{0}-title\">{1}{4}</h3>\n"
      "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-labelledby=\"{0}-title\"><table>\n"
      "<thead><tr>{2}</tr></thead>\n<tbody>\n{3}</tbody></table></div>\n",
      id, html(table.title), head, body, count);
  if (!table.note.empty()) text += "<p class=\"note\">" + html(table.note) + "</p>\n";
  return text + "</div>\n";
}

}  // namespace firstedge
