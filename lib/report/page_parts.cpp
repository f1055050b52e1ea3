// Escaped words, tables in HTML, and the data of the plots.
#include "firstedge/report/page_parts.hpp"

#include "firstedge/core/units.hpp"
#include "firstedge/report/shown_table.hpp"
#include "firstedge/report/words.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

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
  const std::string& whole = cell.value.whole;
  const std::string signed_whole = whole.starts_with('-') ? fmt::format("−{}", whole.substr(1)) : whole;
  std::string text = signed_whole + cell.value.fraction + style.value.missing_after(cell.value);
  if (style.uncertainty.whole.empty()) return text;
  if (cell.uncertainty.whole.empty())
    return text + fill(" ± " + style.uncertainty.whole + style.uncertainty.fraction);
  return text + " ± " + style.uncertainty.missing_before(cell.uncertainty) + cell.uncertainty.whole +
         cell.uncertainty.fraction + style.uncertainty.missing_after(cell.uncertainty);
}

std::string cell_html(const ShownCell& cell, const ColumnStyle& style) {
  if (!style.numeric) return "<td>" + escaped(cell.words) + "</td>";
  if (!cell.words.empty())
    return fmt::format("<td class=\"number\">{}</td>", cell.words == "-" ? "–" : escaped(cell.words));
  return "<td class=\"number\">" + number_html(cell, style) + "</td>";
}

// Digits that tell neighbours apart: seven of the span of the values.
int digits_for(const std::vector<double>& values) {
  double largest = 0, low = std::numeric_limits<double>::infinity(), high = -low;
  for (const double value : values) {
    if (!std::isfinite(value)) continue;
    largest = std::max(largest, std::abs(value));
    low = std::min(low, value);
    high = std::max(high, value);
  }
  constexpr int usual = 7, all = 17;
  if (!(high > low)) return usual;
  return std::clamp(usual + static_cast<int>(std::ceil(std::log10(largest / (high - low)))), usual, all);
}

std::string packed_list(const std::vector<double>& values, double factor) {
  const int digits = digits_for(values);
  std::string text = "[";
  for (const double value : values) {
    if (text.size() > 1) text += ',';
    const double scaled = value / factor;
    text += std::isfinite(scaled) ? fmt::format("{:.{}g}", scaled, digits) : "null";
  }
  return text + "]";
}

// Evenly spaced values, such as the times of a trace or the middles of bins, are told by their first and
// their step.
std::string packed(const std::vector<double>& values, double factor) {
  constexpr std::size_t fewest = 4;
  if (values.size() < fewest) return packed_list(values, factor);
  const double count = static_cast<double>(values.size() - 1);
  const double step = (values.back() - values.front()) / count;
  // A millionth of a step is unseen in any plot and undone by the digits of packed_list.
  const double allowed = 1e-6 * std::abs(step);
  for (std::size_t at = 0; at < values.size(); ++at) {
    const double expected = values.front() + step * static_cast<double>(at);
    if (!(std::abs(values[at] - expected) <= allowed)) return packed_list(values, factor);
  }
  return fmt::format("{{\"start\":{:.15g},\"step\":{:.15g},\"count\":{}}}", values.front() / factor,
                     step / factor, values.size());
}

// A text as JSON that is safe inside a script element: no <, > or & stands in it.
std::string json_text(std::string_view words) {
  std::string text;
  for (const char c : nlohmann::json(clean_words(words)).dump()) {
    if (c == '<' || c == '>' || c == '&') {
      text += fmt::format("\\u{:04x}", static_cast<unsigned>(c));
    } else {
      text += c;
    }
  }
  return text;
}

double largest_of(const Plot& plot, bool along_x) {
  double largest = 0;
  for (const Series& series : plot.series) {
    for (const double value : along_x ? series.x : series.y) {
      if (std::isfinite(value)) largest = std::max(largest, std::abs(value));
    }
  }
  return largest;
}

// A logarithmic axis keeps to SI: its ticks carry their own prefixes or powers.
ShownScale scale_of(const Plot& plot, bool along_x) {
  const Plot::Axis& axis = along_x ? plot.x : plot.y;
  const std::string unit = clean_words(axis.unit);
  return axis.logarithmic ? ShownScale{1, unit_symbol(unit)} : shown_scale(largest_of(plot, along_x), unit);
}

std::string axis_data(const Plot::Axis& axis, const ShownScale& scale) {
  return fmt::format(
      "{{\"label\":{},\"unit\":{},\"si\":{},\"factor\":{:.17g},\"prefixed\":{},\"logarithmic\":{}}}",
      json_text(axis.label), json_text(scale.unit), json_text(unit_symbol(axis.unit)), scale.factor,
      takes_prefix(axis.unit), axis.logarithmic);
}

std::string series_data(const Series& series, const ShownScale& x, const ShownScale& y) {
  std::string text = fmt::format("{{\"label\":{},\"kind\":\"{}\",\"faint\":{},\"x\":{},\"y\":{}",
                                 json_text(series.label), name_of(series.kind), series.faint,
                                 packed(series.x, x.factor), packed_list(series.y, y.factor));
  if (!series.y_uncertainty.empty()) text += ",\"u\":" + packed_list(series.y_uncertainty, y.factor);
  return text + "}";
}

std::string plot_data(const Plot& plot) {
  const ShownScale x = scale_of(plot, true), y = scale_of(plot, false);
  std::string series, markers;
  for (const Series& one : plot.series) series += (series.empty() ? "" : ",\n") + series_data(one, x, y);
  for (const Plot::Marker& marker : plot.markers) {
    if (!std::isfinite(marker.at)) continue;
    markers +=
        fmt::format("{}{{\"label\":{},\"at\":{:.17g},\"vertical\":{}}}", markers.empty() ? "" : ",",
                    json_text(marker.label), marker.at / (marker.vertical ? x : y).factor, marker.vertical);
  }
  return fmt::format("{{\"file\":\"{}\",\"x\":{},\"y\":{},\"markers\":[{}],\"series\":[{}]}}",
                     file_stem(plot.key), axis_data(plot.x, x), axis_data(plot.y, y), markers, series);
}

}  // namespace

std::string html(std::string_view words) {
  return escaped(clean_words(words));
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
  if (table.rows.empty()) body = fmt::format("<tr><td colspan=\"{}\">no rows</td></tr>\n", columns.size());
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

std::string plots_data(const std::vector<Plot>& plots) {
  std::string text;
  for (const Plot& plot : plots) text += (text.empty() ? "" : ",\n") + plot_data(plot);
  return "[" + text + "]";
}

std::string file_stem(std::string_view key) {
  std::string stem;
  for (const char c : key) {
    const bool plain =
        (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
    stem += plain ? c : '_';
  }
  return stem.empty() ? "plot" : stem;
}

}  // namespace firstedge
