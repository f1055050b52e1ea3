// A Result as JSON, layout "firstedge result 1": one object, its keys always in the same order.
#include "firstedge/report/report.hpp"

#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace firstedge {
namespace {

using Json = nlohmann::ordered_json;

// JSON knows neither NaN nor infinity.
Json number(double value) {
  return std::isfinite(value) ? Json(value) : Json(nullptr);
}

Json numbers(const std::vector<double>& values) {
  Json list = Json::array();
  for (const double value : values) list.push_back(number(value));
  return list;
}

Json estimate_json(const Estimate& estimate) {
  const bool known = estimate.uncertainty >= 0;
  return {{"value", number(estimate.value)},
          {"uncertainty", known ? number(estimate.uncertainty) : Json(nullptr)},
          {"degrees_of_freedom", number(estimate.degrees_of_freedom)}};
}

// Puts value under key; a key that is taken already is numbered, so that nothing is lost.
void put_in(Json& object, const std::string& key, Json value) {
  std::string name = key;
  for (int again = 2; object.contains(name); ++again) name = fmt::format("{}_{}", key, again);
  object[name] = std::move(value);
}

Json figure_json(const Figure& figure) {
  Json json = estimate_json(figure.estimate);
  json["unit"] = figure.unit;
  json["label"] = figure.label;
  return json;
}

Json cell_json(const Table::Cell& cell) {
  if (const auto* text = std::get_if<std::string>(&cell)) return *text;
  if (const auto* value = std::get_if<double>(&cell)) return number(*value);
  return estimate_json(std::get<Estimate>(cell));
}

Json table_json(const Table& table) {
  Json columns = Json::array(), rows = Json::array();
  for (const Table::Column& column : table.columns)
    columns.push_back(Json{{"key", column.key}, {"label", column.label}, {"unit", column.unit}});
  for (const auto& row : table.rows) {
    Json cells = Json::array();
    for (const Table::Cell& cell : row) cells.push_back(cell_json(cell));
    rows.push_back(std::move(cells));
  }
  return {{"title", table.title}, {"note", table.note}, {"columns", columns}, {"rows", rows}};
}

Json axis_json(const Plot::Axis& axis) {
  return {{"label", axis.label}, {"unit", axis.unit}, {"logarithmic", axis.logarithmic}};
}

Json plot_json(const Plot& plot) {
  Json series = Json::array(), markers = Json::array();
  for (const Series& one : plot.series) {
    series.push_back(Json{{"label", one.label},
                          {"kind", name_of(one.kind)},
                          {"faint", one.faint},
                          {"x", numbers(one.x)},
                          {"y", numbers(one.y)},
                          {"y_uncertainty", numbers(one.y_uncertainty)},
                          {"y_low", numbers(one.y_low)},
                          {"y_high", numbers(one.y_high)}});
  }
  for (const Plot::Marker& marker : plot.markers) {
    markers.push_back(
        Json{{"label", marker.label}, {"at", number(marker.at)}, {"vertical", marker.vertical}});
  }
  return {{"title", plot.title},    {"caption", plot.caption}, {"x", axis_json(plot.x)},
          {"y", axis_json(plot.y)}, {"series", series},        {"markers", markers}};
}

Json provenance_json(const Provenance& made) {
  Json inputs = Json::array(), options = Json::object();
  for (const Provenance::Input& input : made.inputs)
    inputs.push_back(Json{{"name", input.name}, {"bytes", input.bytes}, {"sha256", input.sha256}});
  for (const auto& [name, value] : made.options) options[name] = value;
  return {{"program", made.program}, {"version", made.version}, {"command", made.command},
          {"inputs", inputs},        {"options", options},      {"setup", made.setup}};
}

// Text that is not UTF-8 gets U+FFFD in place of each broken byte.
std::string dumped(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

// One line for each member of an object or a list, so that a person can look at it and compare two of them.
std::string by_lines(const Json& json, int depth) {
  if (depth == 0 || !json.is_structured() || json.empty()) return dumped(json);
  std::string text;
  const std::string indent(static_cast<std::size_t>(3 - depth), ' ');
  for (const auto& [key, value] : json.items()) {
    text += text.empty() ? "\n" : ",\n";
    text += indent;
    if (json.is_object()) text += dumped(Json(key)) + ": ";
    text += by_lines(value, depth - 1);
  }
  const char* brackets = json.is_object() ? "{}" : "[]";
  return fmt::format("{}{}\n{}{}", brackets[0], text, indent.substr(1), brackets[1]);
}

}  // namespace

std::string to_json(const Result& result) {
  Json figures = Json::object(), tables = Json::object(), plots = Json::object();
  for (const Figure& figure : result.figures) put_in(figures, figure.key, figure_json(figure));
  for (const Table& table : result.tables) put_in(tables, table.key, table_json(table));
  for (const Plot& plot : result.plots) put_in(plots, plot.key, plot_json(plot));
  const Json json{{"layout", "firstedge result 1"},
                  {"kind", result.kind},
                  {"title", result.title},
                  {"answer", result.answer},
                  {"figures", figures},
                  {"tables", tables},
                  {"plots", plots},
                  {"warnings", result.warnings},
                  {"cautions", result.cautions},
                  {"provenance", provenance_json(result.provenance)}};
  return by_lines(json, 2) + "\n";
}

}  // namespace firstedge
