// The points of the plots as the page's script reads them: thinned where there are more than can be seen, in
// the units of the axes, with the digits that tell neighbours apart, evenly spaced values by their first and
// their step.
#include "firstedge/core/units.hpp"
#include "firstedge/report/page_parts.hpp"
#include "firstedge/report/shown_table.hpp"
#include "firstedge/report/words.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace firstedge {
namespace {

// A plot holds at most so many points, some 1.7 MB of page; a series always this many.
constexpr std::size_t points_of_a_plot = 100'000, fewest_of_a_series = 2'000;

std::size_t size_of(const Series& series) {
  return std::min(series.x.size(), series.y.size());
}

std::size_t points_allowed(const Plot& plot) {
  std::size_t total = 0;
  for (const Series& series : plot.series) total += size_of(series);
  if (total <= points_of_a_plot) return total;
  return std::max(fewest_of_a_series, points_of_a_plot / plot.series.size());
}

// Of each of equal parts of a line the first, smallest, largest and last point, in their order: on a screen
// with fewer columns than parts the line looks the same (U. Jugel et al., "M4", Proc. VLDB Endowment 7 (2014)
// 797).
std::vector<std::size_t> extremes(const Series& series, std::size_t allowed) {
  const std::size_t size = size_of(series), parts = allowed / 4;
  std::vector<std::size_t> kept;
  for (std::size_t part = 0; part < parts; ++part) {
    const std::size_t first = part * size / parts, last = (part + 1) * size / parts - 1;
    std::size_t lowest = first, highest = first, gap = first;
    for (std::size_t at = first; at <= last; ++at) {
      if (std::isnan(series.y[at])) gap = at;
      if (series.y[at] < series.y[lowest] || std::isnan(series.y[lowest])) lowest = at;
      if (series.y[at] > series.y[highest] || std::isnan(series.y[highest])) highest = at;
    }
    std::array chosen{first, lowest, highest, gap, last};
    std::sort(chosen.begin(), chosen.end());
    kept.insert(kept.end(), chosen.begin(), std::unique(chosen.begin(), chosen.end()));
  }
  return kept;
}

std::vector<std::size_t> every_nth(std::size_t size, std::size_t allowed) {
  std::vector<std::size_t> kept;
  for (std::size_t at = 0; at < allowed; ++at) kept.push_back(at * size / allowed);
  return kept;
}

Series thinned(const Series& series, std::size_t allowed) {
  const std::vector<std::size_t> kept =
      series.kind == Series::Kind::points ? every_nth(size_of(series), allowed) : extremes(series, allowed);
  Series drawn{.label = series.label, .kind = series.kind, .faint = series.faint};
  for (const std::size_t at : kept) {
    drawn.x.push_back(series.x[at]);
    drawn.y.push_back(series.y[at]);
    if (at < series.y_uncertainty.size()) drawn.y_uncertainty.push_back(series.y_uncertainty[at]);
    if (at < series.y_low.size()) drawn.y_low.push_back(series.y_low[at]);
    if (at < series.y_high.size()) drawn.y_high.push_back(series.y_high[at]);
  }
  return drawn;
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
  if (!series.y_low.empty()) text += ",\"low\":" + packed_list(series.y_low, y.factor);
  if (!series.y_high.empty()) text += ",\"high\":" + packed_list(series.y_high, y.factor);
  return text + "}";
}

std::string plot_data(const Plot& plot) {
  const ShownScale x = scale_of(plot, true), y = scale_of(plot, false);
  std::string series, markers;
  const std::size_t allowed = points_allowed(plot);
  for (const Series& one : plot.series) {
    if (!series.empty()) series += ",\n";
    series += size_of(one) > allowed ? series_data(thinned(one, allowed), x, y) : series_data(one, x, y);
  }
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

std::string file_stem(std::string_view key) {
  std::string stem;
  for (const char c : key) {
    const bool plain =
        (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
    stem += plain ? c : '_';
  }
  return stem.empty() ? "plot" : stem;
}

std::string thinning_note(const Plot& plot) {
  const std::size_t allowed = points_allowed(plot);
  std::size_t total = 0;
  bool lines = false, scatters = false;
  for (const Series& series : plot.series) {
    total += size_of(series);
    if (size_of(series) <= allowed) continue;
    (series.kind == Series::Kind::points ? scatters : lines) = true;
  }
  if (!lines && !scatters) return "";
  const char* choice = lines && scatters ? "an even choice and the extremes of short stretches are"
                       : lines           ? "the extremes of short stretches are"
                                         : "an even choice is";
  return fmt::format("Of {} points {} drawn here; the JSON holds all.", total, choice);
}

std::string plots_data(const std::vector<Plot>& plots) {
  std::string text;
  for (const Plot& plot : plots) text += (text.empty() ? "" : ",\n") + plot_data(plot);
  return "[" + text + "]";
}

}  // namespace firstedge
