// Element and Chain: what a signal passes through between the sensor and the record, and how long it takes.
#pragma once

#include "firstedge/core/distribution.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/core/instant.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// How an uncertainty was found: from repeated readings, or otherwise (JCGM 100:2008, 2.3.2 and 2.3.3).
enum class Evaluation : std::uint8_t { type_a, type_b };

/// One measurement of an Element's delay.
struct Calibration {
  Estimate delay_s;  ///< with its standard uncertainty and degrees of freedom
  Distribution distribution = Distribution::normal;
  Evaluation evaluation = Evaluation::type_b;
  std::string method;                  ///< for people: how it was measured
  std::optional<Instant> measured;     ///< when
  std::optional<Instant> valid_from;   ///< from this instant on; absent: from ever
  std::optional<Instant> valid_until;  ///< up to and without this instant; absent: for good
  /// Relative change of the delay a kelvin; without uncertainty and 0 where nothing is known of it.
  Estimate temperature_coefficient_per_k{0, 0};
  double temperature_c = 23;  ///< at which the delay holds

  bool moves_with_temperature() const {
    return temperature_coefficient_per_k.value != 0 || temperature_coefficient_per_k.uncertainty != 0;
  }
};

/// One thing that a signal passes through: sensor, connector, cable, amplifier, digitizer input.
///
/// Invariant of those that io reads: at least one calibration, in order of validity, no two valid at a time.
struct Element {
  std::string name;
  std::vector<Calibration> calibrations;
};

/// The elements of a channel by name, in order from the sensor to the record.
struct Chain {
  std::string channel;
  std::vector<std::string> elements;
};

}  // namespace firstedge
