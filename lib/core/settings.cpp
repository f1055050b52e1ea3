#include "firstedge/core/settings.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/units.hpp"

#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

std::string kind_of(const Settings::Value& value) {
  if (std::holds_alternative<bool>(value.is)) return "true or false";
  if (std::holds_alternative<double>(value.is)) return "a number";
  if (const auto* text = std::get_if<std::string>(&value.is)) return fmt::format("the text '{}'", *text);
  if (std::holds_alternative<Settings::List>(value.is)) return "a list";
  return "a group";
}

std::optional<double> quantity_of(const Settings::Value& value, std::string_view si_unit) {
  if (const auto* number = std::get_if<double>(&value.is)) return *number;
  if (const auto* text = std::get_if<std::string>(&value.is)) return parse_quantity(*text, si_unit);
  return std::nullopt;
}

std::string example_of(std::string_view si_unit) {
  if (si_unit == "s") return "\"0.8 ns\"";
  if (si_unit == "V") return "\"20 mV\"";
  if (si_unit == "Hz") return "\"400 MHz\"";
  if (si_unit == "ohm") return "\"50 ohm\"";
  return "a number";
}

// A place that ends in a space ("bench.json, ") is the start of a path, any other a step of it.
std::string inside(const std::string& place, const std::string& name) {
  return place.empty() || place.ends_with(' ') ? place + name : fmt::format("{}/{}", place, name);
}

Settings settings_of(const Settings::Group& group, const std::string& place) {
  Settings settings(place);
  for (const auto& [name, value] : group) settings.set(name, value);
  return settings;
}

}  // namespace

const Settings::Value* Settings::find(const std::string& name) const {
  known_.insert(name);
  const auto it = values_.find(name);
  return it == values_.end() ? nullptr : &it->second;
}

void Settings::refuse(const std::string& name, const std::string& problem, const std::string& remedy) const {
  throw Error(inside(place_, name), problem, remedy);
}

bool Settings::flag(const std::string& name, bool fallback) const {
  const Value* value = find(name);
  if (value == nullptr) return fallback;
  if (const bool* is = std::get_if<bool>(&value->is)) return *is;
  refuse(name, fmt::format("is {}", kind_of(*value)), "give true or false");
}

double Settings::number(const std::string& name, double fallback) const {
  const Value* value = find(name);
  if (value == nullptr) return fallback;
  if (const double* is = std::get_if<double>(&value->is)) return *is;
  refuse(name, fmt::format("is {}", kind_of(*value)), "give a plain number");
}

std::uint64_t Settings::whole_number(const std::string& name, std::uint64_t fallback, std::uint64_t least,
                                     std::uint64_t most) const {
  const double value = number(name, static_cast<double>(fallback));
  if (!(value >= static_cast<double>(least) && value <= static_cast<double>(most)) ||
      value != std::floor(value)) {
    refuse(name, fmt::format("is {}", value), fmt::format("give a whole number from {} to {}", least, most));
  }
  return static_cast<std::uint64_t>(value);
}

std::optional<double> Settings::quantity(const std::string& name, std::string_view si_unit) const {
  const Value* value = find(name);
  if (value == nullptr) return std::nullopt;
  if (const auto is = quantity_of(*value, si_unit)) return is;
  refuse(name, fmt::format("is {}, not a quantity in {}", kind_of(*value), si_unit),
         fmt::format("write it like {}", example_of(si_unit)));
}

double Settings::quantity(const std::string& name, std::string_view si_unit, double fallback) const {
  return quantity(name, si_unit).value_or(fallback);
}

std::string Settings::text(const std::string& name, const std::string& fallback) const {
  const Value* value = find(name);
  if (value == nullptr) return fallback;
  if (const auto* is = std::get_if<std::string>(&value->is)) return *is;
  refuse(name, fmt::format("is {}", kind_of(*value)), "give a text in quotes");
}

std::vector<std::string> Settings::texts(const std::string& name) const {
  const Value* value = find(name);
  if (value == nullptr) return {};
  if (const auto* one = std::get_if<std::string>(&value->is)) return {*one};
  const auto* list = std::get_if<List>(&value->is);
  if (list == nullptr) refuse(name, fmt::format("is {}", kind_of(*value)), "give a list of texts");
  std::vector<std::string> texts;
  for (const Value& item : *list) {
    const auto* is = std::get_if<std::string>(&item.is);
    if (is == nullptr) refuse(name, fmt::format("holds {}", kind_of(item)), "give texts in quotes");
    texts.push_back(*is);
  }
  return texts;
}

std::vector<double> Settings::quantities(const std::string& name, std::string_view si_unit) const {
  const Value* value = find(name);
  if (value == nullptr) return {};
  const List single{*value};
  const auto* list = std::get_if<List>(&value->is);
  std::vector<double> quantities;
  for (const Value& item : list != nullptr ? *list : single) {
    const auto is = quantity_of(item, si_unit);
    if (!is) {
      refuse(name, fmt::format("holds {}, not a quantity in {}", kind_of(item), si_unit),
             fmt::format("write it like {}", example_of(si_unit)));
    }
    quantities.push_back(*is);
  }
  return quantities;
}

std::optional<std::pair<double, double>> Settings::range(const std::string& name,
                                                         std::string_view si_unit) const {
  if (find(name) == nullptr) return std::nullopt;
  const std::vector<double> ends = quantities(name, si_unit);
  if (ends.size() != 2 || !(ends[0] < ends[1])) {
    refuse(name, "is not a pair in rising order",
           fmt::format("give [lower, upper], each like {}", example_of(si_unit)));
  }
  return std::pair{ends[0], ends[1]};
}

Settings Settings::group(const std::string& name) const {
  const Value* value = find(name);
  const std::string place = inside(place_, name);
  if (value == nullptr) return Settings(place);
  const auto* is = std::get_if<Group>(&value->is);
  if (is == nullptr) refuse(name, fmt::format("is {}", kind_of(*value)), "give a group in braces");
  return settings_of(*is, place);
}

std::vector<Settings> Settings::groups(const std::string& name) const {
  const Value* value = find(name);
  if (value == nullptr) return {};
  const auto* list = std::get_if<List>(&value->is);
  if (list == nullptr) refuse(name, fmt::format("is {}", kind_of(*value)), "give a list of groups");
  std::vector<Settings> groups;
  for (std::size_t i = 0; i < list->size(); ++i) {
    const auto* is = std::get_if<Group>(&(*list)[i].is);
    if (is == nullptr)
      refuse(name, fmt::format("holds {}", kind_of((*list)[i])), "give a list of groups in braces");
    groups.push_back(settings_of(*is, inside(inside(place_, name), std::to_string(i))));
  }
  return groups;
}

std::string Settings::choice(const std::string& name, const std::string& fallback,
                             const std::vector<std::string>& allowed) const {
  std::string word = text(name, fallback);
  for (const std::string& one : allowed) {
    if (word == one) return word;
  }
  refuse(name, fmt::format("is '{}'", word), fmt::format("choose one of {}", fmt::join(allowed, ", ")));
}

std::optional<Settings::Value> Settings::value(const std::string& name) const {
  const Value* value = find(name);
  return value == nullptr ? std::nullopt : std::optional(*value);
}

void Settings::finish() const {
  for (const auto& [name, value] : values_) {
    if (!known_.contains(name)) {
      refuse(name, "is not a name known here",
             fmt::format("the names known are {}", fmt::join(known_, ", ")));
    }
  }
}

Settings Settings::over(const Settings& defaults) const {
  Settings merged(place_.empty() ? defaults.place_ : place_);
  merged.values_ = values_;
  merged.values_.insert(defaults.values_.begin(), defaults.values_.end());
  return merged;
}

}  // namespace firstedge
