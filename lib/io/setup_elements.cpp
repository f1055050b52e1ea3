#include "firstedge/io/setup_elements.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Longer delays are a slip of the unit.
constexpr double longest_delay_s = 1;
constexpr double coldest_c = -273.15, hottest_c = 1000;
constexpr std::int64_t seconds_a_day = 86400;
constexpr std::size_t date_size = 10;  // 2026-10-02

double time_of(const Settings& settings, const std::string& name) {
  const auto time_s = settings.quantity(name, "s");
  if (!time_s) settings.refuse(name, "is missing", "give a time such as \"48.32 ns\"");
  if (!(std::abs(*time_s) < longest_delay_s))
    settings.refuse(name, fmt::format("is {} s", *time_s), "give a time below 1 s, with its unit");
  return *time_s;
}

// A date, or an instant; a date stands for its first instant, or (whole_day) for the one after its last.
std::optional<Instant> date_of(const Settings& settings, const std::string& name, bool whole_day) {
  const std::string text = settings.text(name, "");
  if (text.empty() && !settings.has(name)) return std::nullopt;
  const std::string place = fmt::format("{}/{}", settings.place(), name);
  if (text.size() != date_size) return parse_instant(text, TimeScale::utc, place);
  Instant instant = parse_instant(text + "T00:00:00Z", TimeScale::utc, place);
  if (whole_day) instant.seconds += seconds_a_day;
  return instant;
}

double freedom_of(const Settings& settings, Evaluation evaluation) {
  const bool given = settings.has("degrees_of_freedom");
  if (!given && evaluation == Evaluation::type_a)
    settings.refuse("degrees_of_freedom", "is missing for an uncertainty of type A",
                    "give the number of readings less one");
  const double freedom = settings.number("degrees_of_freedom", std::numeric_limits<double>::infinity());
  if (!(freedom > 0))
    settings.refuse("degrees_of_freedom", fmt::format("is {}", freedom), "give a number above 0");
  return freedom;
}

Distribution distribution_of(const Settings& settings, const Calibration& calibration) {
  std::vector<std::string> allowed;
  for (const DistributionWords& words : distribution_table) allowed.emplace_back(words.name);
  const bool readings = calibration.evaluation == Evaluation::type_a;
  const std::string name = settings.choice("distribution", readings ? "t" : "normal", allowed);
  if (name == "t" && std::isinf(calibration.delay_s.degrees_of_freedom))
    settings.refuse("distribution", "is t without degrees of freedom", "give degrees_of_freedom, or normal");
  return *distribution_named(name);
}

void read_temperature_coefficient(const Settings& settings, Calibration& calibration) {
  const Settings group = settings.group("temperature_coefficient");
  if (group.empty()) return;
  constexpr double ppm = 1e-6;
  const double value = group.number("ppm_per_kelvin", 0);
  const double uncertainty = group.number("uncertainty_ppm_per_kelvin", 0);
  calibration.temperature_c = group.number("at_celsius", calibration.temperature_c);
  group.finish();
  if (!(std::abs(value) < 1 / ppm)) group.refuse("ppm_per_kelvin", "is not below 1 a kelvin", "give ppm");
  if (!(uncertainty >= 0 && uncertainty < 1 / ppm))
    group.refuse("uncertainty_ppm_per_kelvin", fmt::format("is {}", uncertainty), "give ppm, 0 or more");
  if (!(calibration.temperature_c > coldest_c && calibration.temperature_c < hottest_c))
    group.refuse("at_celsius", fmt::format("is {}", calibration.temperature_c), "give degrees Celsius");
  calibration.temperature_coefficient_per_k = {value * ppm, uncertainty * ppm};
}

Calibration calibration_of(const Settings& settings) {
  Calibration calibration;
  calibration.evaluation =
      settings.choice("type", "B", {"A", "B"}) == "A" ? Evaluation::type_a : Evaluation::type_b;
  calibration.delay_s = {time_of(settings, "delay"), time_of(settings, "uncertainty"),
                         freedom_of(settings, calibration.evaluation)};
  if (calibration.delay_s.uncertainty < 0)
    settings.refuse("uncertainty", fmt::format("is {} s", calibration.delay_s.uncertainty),
                    "give a standard uncertainty of 0 or more");
  calibration.distribution = distribution_of(settings, calibration);
  calibration.method = settings.text("method", "");
  calibration.measured = date_of(settings, "measured", false);
  calibration.valid_from = date_of(settings, "valid_from", false);
  calibration.valid_until = date_of(settings, "valid_until", true);
  read_temperature_coefficient(settings, calibration);
  if (calibration.valid_from && calibration.valid_until &&
      calibration.valid_from->seconds >= calibration.valid_until->seconds)
    settings.refuse("valid_until", "is not after valid_from", "put the dates in order");
  return calibration;
}

constexpr std::int64_t ever = std::numeric_limits<std::int64_t>::min();
constexpr std::int64_t for_good = std::numeric_limits<std::int64_t>::max();

std::int64_t start_of(const Calibration& one) {
  return one.valid_from ? one.valid_from->seconds : ever;
}

void put_in_order(const Settings& settings, std::vector<Calibration>& calibrations) {
  std::sort(calibrations.begin(), calibrations.end(),
            [](const Calibration& a, const Calibration& b) { return start_of(a) < start_of(b); });
  for (std::size_t i = 1; i < calibrations.size(); ++i) {
    const auto& before = calibrations[i - 1].valid_until;
    if ((before ? before->seconds : for_good) > start_of(calibrations[i]))
      settings.refuse("calibrations", "holds two that are valid at the same time",
                      "let valid_until of the one end before valid_from of the next");
  }
}

Element element_of(const Settings& settings) {
  Element element;
  element.name = settings.text("name", "");
  if (element.name.empty()) settings.refuse("name", "is missing or empty", "give the element a name");
  if (!settings.has("calibrations")) {
    element.calibrations = {calibration_of(settings)};
  } else {
    for (const Settings& one : settings.groups("calibrations")) {
      element.calibrations.push_back(calibration_of(one));
      one.finish();
    }
    if (element.calibrations.empty())
      settings.refuse("calibrations", "is empty", "give at least one calibration");
    put_in_order(settings, element.calibrations);
  }
  settings.finish();
  return element;
}

}  // namespace

std::vector<Element> elements_from(const Settings& root) {
  std::vector<Element> elements;
  std::set<std::string> names;
  for (const Settings& settings : root.groups("elements")) {
    elements.push_back(element_of(settings));
    if (!names.insert(elements.back().name).second)
      settings.refuse("name", fmt::format("lists element '{}' again", elements.back().name),
                      "list each element once, with all its calibrations");
  }
  return elements;
}

std::optional<std::vector<std::string>> chain_from(const Settings& settings,
                                                   std::span<const Element> elements) {
  if (!settings.has("chain")) return std::nullopt;
  std::vector<std::string> chain = settings.texts("chain");
  std::set<std::string> seen;
  for (const std::string& name : chain) {
    const bool known = std::any_of(elements.begin(), elements.end(),
                                   [&](const Element& element) { return element.name == name; });
    if (!known)
      settings.refuse("chain", fmt::format("names '{}', which is not in the list of elements", name),
                      "add it to \"elements\", or mend the name");
    if (!seen.insert(name).second)
      settings.refuse("chain", fmt::format("names '{}' twice", name),
                      "a signal passes each thing once: give two things two names");
  }
  return chain;
}

std::optional<Estimate> temperature_from(const Settings& root) {
  const Settings group = root.group("temperature");
  if (group.empty()) return std::nullopt;
  const Estimate temperature_c{group.number("celsius", std::nan("")), group.number("uncertainty", 0)};
  group.finish();
  if (!(temperature_c.value > coldest_c && temperature_c.value < hottest_c))
    group.refuse("celsius", "is missing or no temperature", "give degrees Celsius, such as 21.5");
  if (!(temperature_c.uncertainty >= 0 && temperature_c.uncertainty < hottest_c))
    group.refuse("uncertainty", fmt::format("is {}", temperature_c.uncertainty), "give kelvins, 0 or more");
  return temperature_c;
}

}  // namespace firstedge
