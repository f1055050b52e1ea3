#include "firstedge/io/stamp_table_words.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/stamp_fields.hpp"

#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace firstedge::stamp_words {
namespace {

using Json = nlohmann::ordered_json;

std::string one_line(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

// JSON has no NaN: it is written as null.
double number_or_nan(const Json& json) {
  return json.is_null() ? not_known : json.get<double>();
}

template <class Make>
auto from_json(std::string_view text, const std::string& place, Make&& make) {
  try {
    return make(Json::parse(text));
  } catch (const Json::exception&) {
    throw Error(place, "this line of the head is not the JSON it should be",
                "use a table as firstedge-stamp wrote it");
  }
}

std::vector<std::string> all_different(std::vector<std::string> labels) {
  std::set<std::string> seen;
  for (std::string& label : labels) {
    const std::string word = label;
    for (int copy = 2; !seen.insert(label).second; ++copy) label = fmt::format("{} #{}", word, copy);
  }
  return labels;
}

}  // namespace

std::string columns() {
  std::string line;
  for_each_stamp_number([&](const char* name, auto) { line += fmt::format("{},", name); });
  return line + stamp_flags_name;
}

std::vector<std::string> channel_labels(const StampTableHead& head) {
  std::vector<std::string> labels;
  for (const auto& channel : head.channels) labels.push_back(printable(channel.name));
  return all_different(std::move(labels));
}

std::vector<std::string> method_labels(const StampTableHead& head) {
  std::vector<std::string> labels;
  for (const auto& method : head.methods) {
    labels.push_back(printable(
        method.settings.empty() ? method.name : fmt::format("{}({})", method.name, method.settings)));
  }
  return all_different(std::move(labels));
}

std::string field(const std::string& text) {
  if (text.find_first_of(",\"") == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
  return quoted + '"';
}

std::string json_line(const std::string& text) {
  return one_line(text);
}

std::string json_line(const StampTableHead::Channel& channel) {
  return one_line({{"name", channel.name},
                   {"sensor", channel.sensor},
                   {"interval_s", channel.interval_s},
                   {"load_ohm", channel.load_ohm},
                   {"noise_v", channel.noise_v}});
}

std::string json_line(const StampTableHead::Method& method) {
  return one_line({{"name", method.name}, {"settings", method.settings}});
}

std::string text_from_json(std::string_view json, const std::string& place) {
  return from_json(json, place, [](const Json& text) { return text.get<std::string>(); });
}

StampTableHead::Channel channel_from_json(std::string_view json, const std::string& place) {
  return from_json(json, place, [](const Json& channel) {
    return StampTableHead::Channel{.name = channel.at("name"),
                                   .sensor = channel.at("sensor"),
                                   .interval_s = number_or_nan(channel.at("interval_s")),
                                   .load_ohm = number_or_nan(channel.at("load_ohm")),
                                   .noise_v = number_or_nan(channel.at("noise_v"))};
  });
}

StampTableHead::Method method_from_json(std::string_view json, const std::string& place) {
  return from_json(json, place, [](const Json& method) {
    return StampTableHead::Method{.name = method.at("name"), .settings = method.at("settings")};
  });
}

}  // namespace firstedge::stamp_words
