// Settings of the Setup's group "input", put together by hand.
#pragma once

#include "firstedge/core/settings.hpp"

#include <initializer_list>
#include <string>
#include <utility>
#include <vector>

namespace firstedge::test {

using InputValue = Settings::Value;

inline InputValue text(const char* text) {
  return {std::string(text)};
}
inline InputValue list(std::initializer_list<const char*> texts) {
  Settings::List list;
  for (const char* one : texts) list.push_back(text(one));
  return {list};
}
inline InputValue groups(const std::vector<Settings::Group>& all) {
  Settings::List list;
  for (const Settings::Group& one : all) list.push_back({one});
  return {list};
}
inline Settings settings(const std::vector<std::pair<std::string, InputValue>>& values) {
  Settings input("input");
  for (const auto& [name, value] : values) input.set(name, value);
  return input;
}

}  // namespace firstedge::test
