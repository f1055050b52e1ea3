#include "firstedge/io/json_settings.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cstdint>
#include <set>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace firstedge {
namespace {

// Takes the parser's events and builds Settings values; the member names are the parser's.
class SettingsBuilder {
 public:
  SettingsBuilder(std::string_view json, std::string place) : json_(json), place_(std::move(place)) {}

  Settings settings() && {
    auto* group = std::get_if<Settings::Group>(&root_.is);
    if (group == nullptr) {
      throw Error(place_, "the outermost value is not a group in braces", "write { \"name\": value, ... }");
    }
    Settings settings(place_ + ", ");
    for (auto& [name, value] : *group) settings.set(name, std::move(value));
    return settings;
  }

  bool null() { refuse("is null", "leave the name out where nothing is to be said"); }
  bool boolean(bool value) { return put({value}); }
  bool number_integer(std::int64_t value) { return put({static_cast<double>(value)}); }
  bool number_unsigned(std::uint64_t value) { return put({static_cast<double>(value)}); }
  bool number_float(double value, const std::string& /*text*/) { return put({value}); }
  bool string(std::string& value) { return put({std::move(value)}); }
  bool binary(nlohmann::json::binary_t& /*value*/) { refuse("holds binary data", "write text"); }

  bool start_object(std::size_t /*size*/) { return open({Settings::Group{}}); }
  bool start_array(std::size_t /*size*/) { return open({Settings::List{}}); }
  bool end_object() { return close(); }
  bool end_array() { return close(); }
  bool key(std::string& name) {
    Level& level = levels_.back();
    level.name = name;
    if (!level.names.insert(std::move(name)).second)
      refuse("is given twice", "give each name once in a group");
    return true;
  }

  bool parse_error(std::size_t position, const std::string& /*token*/,
                   const nlohmann::json::exception& error) {
    const std::string_view before =
        json_.substr(0, position == 0 ? 0 : std::min(position, json_.size() + 1) - 1);
    const auto line = 1 + std::count(before.begin(), before.end(), '\n');
    const std::size_t line_start = before.rfind('\n');
    const std::size_t column =
        before.size() - (line_start == std::string_view::npos ? 0 : line_start + 1) + 1;
    // The parser's sentence repeats the place before its last ": "; what follows says what was found.
    std::string problem = error.what();
    const std::size_t start = problem.find(": ");
    if (start != std::string::npos) problem.erase(0, start + 2);
    throw Error(fmt::format("{}, line {}, column {}", place_, line, column), "not JSON: " + problem,
                "correct the text there");
  }

 private:
  struct Level {
    Settings::Value value;
    std::string name;             // of the member being read, in a group
    std::set<std::string> names;  // of the members so far, in a group
  };

  bool put(Settings::Value value) {
    if (levels_.empty()) {
      root_ = std::move(value);
      return true;
    }
    Level& level = levels_.back();
    if (auto* group = std::get_if<Settings::Group>(&level.value.is)) {
      group->push_back({level.name, std::move(value)});
    } else {
      std::get<Settings::List>(level.value.is).push_back(std::move(value));
    }
    return true;
  }

  bool open(Settings::Value value) {
    if (levels_.size() == deepest_json_nesting) {
      refuse(fmt::format("stands deeper than {} brackets", deepest_json_nesting), "nest less");
    }
    levels_.push_back({std::move(value), {}, {}});
    return true;
  }

  bool close() {
    Settings::Value value = std::move(levels_.back().value);
    levels_.pop_back();
    return put(std::move(value));
  }

  [[noreturn]] void refuse(const std::string& problem, const std::string& remedy) const {
    std::string path;
    for (const Level& level : levels_) {
      const auto* list = std::get_if<Settings::List>(&level.value.is);
      path += (path.empty() ? "" : "/") + (list != nullptr ? std::to_string(list->size()) : level.name);
    }
    throw Error(path.empty() ? place_ : fmt::format("{}, {}", place_, path), problem, remedy);
  }

  std::string_view json_;
  std::string place_;
  std::vector<Level> levels_;
  Settings::Value root_;
};

}  // namespace

Settings settings_from_json(std::string_view json, const std::string& place) {
  if (json.size() > most_json_bytes) {
    throw Error(place, fmt::format("{} bytes of text", json.size()),
                fmt::format("give at most {} bytes", most_json_bytes));
  }
  SettingsBuilder builder(json, place);
  nlohmann::json::sax_parse(json, &builder);
  return std::move(builder).settings();
}

}  // namespace firstedge
