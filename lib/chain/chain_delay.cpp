#include "firstedge/chain/chain_delay.hpp"

#include "firstedge/chain/calibration_choice.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace firstedge {
namespace {

const Element& element_named(const Station& station, const std::string& name, const std::string& channel) {
  const auto found = std::find_if(station.elements.begin(), station.elements.end(),
                                  [&](const Element& one) { return one.name == name; });
  if (found == station.elements.end())
    throw Error("chain of channel '" + channel + "'", "'" + name + "' is not in the list of elements",
                "add it to \"elements\", or mend the name");
  return *found;
}

std::string measured_words(const Calibration& calibration) {
  constexpr std::size_t to_days = 10;
  std::string words = calibration.measured ? to_text(*calibration.measured).substr(0, to_days) : "";
  if (!words.empty() && !calibration.method.empty()) words += ", ";
  return words + calibration.method;
}

// Adds the terms of one element; the temperature's sensitivity gathers over the chain.
void add_element(const std::string& name, const Calibration& calibration,
                 const std::optional<Estimate>& temperature_c, ChainDelay& chain, double& per_kelvin_s) {
  const Estimate coefficient = calibration.temperature_coefficient_per_k;
  const double kelvins = temperature_c && calibration.moves_with_temperature()
                             ? temperature_c->value - calibration.temperature_c
                             : 0;
  const double delay_s = calibration.delay_s.value;
  chain.delay_s += delay_s * (1 + coefficient.value * kelvins);
  chain.terms.push_back({.name = name,
                         .input = calibration.delay_s,
                         .sensitivity = 1 + coefficient.value * kelvins,
                         .distribution = calibration.distribution,
                         .evaluation = calibration.evaluation,
                         .measured = measured_words(calibration)});
  if (!calibration.moves_with_temperature()) return;
  if (!temperature_c) {
    chain.notes.push_back(fmt::format(
        "'{}' moves with temperature, but the Setup has no temperature: its delay is that at {} °C", name,
        calibration.temperature_c));
    return;
  }
  per_kelvin_s += delay_s * coefficient.value;
  if (coefficient.uncertainty > 0)
    chain.terms.push_back({.name = name + ", temperature coefficient",
                           .unit = "1/K",
                           .input = coefficient,
                           .sensitivity = delay_s * kelvins,
                           .measured = measured_words(calibration)});
}

}  // namespace

ChainDelay chain_delay(const Chain& chain, const Station& station, const std::optional<Instant>& when) {
  ChainDelay delay;
  double per_kelvin_s = 0;
  for (const std::string& name : chain.elements) {
    const Element& element = element_named(station, name, chain.channel);
    const ChosenCalibration chosen = choose_calibration(element, when);
    if (chosen.standing != Standing::valid) delay.doubts.push_back(doubt_about(element, chosen, when));
    add_element(name, element.calibrations[chosen.index], station.temperature_c, delay, per_kelvin_s);
  }
  if (per_kelvin_s != 0)
    delay.terms.push_back({.name = station.name.empty() ? "temperature" : "temperature, " + station.name,
                           .unit = "°C",
                           .input = *station.temperature_c,
                           .sensitivity = per_kelvin_s});
  return delay;
}

}  // namespace firstedge
