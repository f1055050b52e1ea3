// The delay of a chain at a date and a temperature, and what it rests on.
#pragma once

#include "firstedge/core/applied_delay.hpp"
#include "firstedge/core/chain.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// A bench or a station: what chains can be made of, and how warm it is there.
struct Station {
  std::string name;  ///< for people
  std::vector<Element> elements;
  std::vector<Chain> chains;
  std::optional<Estimate> temperature_c;  ///< of all elements alike
};

struct ChainDelay {
  double delay_s = 0;
  /// One a element (its delay at its calibration's temperature), one for each temperature coefficient that is
  /// uncertain, and the station's
  /// temperature, which all elements share.
  std::vector<DelayTerm> terms;
  std::vector<std::string> doubts;  ///< one a calibration that is not valid at the date
  std::vector<std::string> notes;   ///< what was left out
};

/// sum over the elements of d (1 + a (T - T0)): delay d and temperature coefficient a of the calibration
/// chosen for the date, T the station's temperature, T0 that of the calibration. Where the station has no
/// temperature, a is left out, and that is noted. Throws Error for an element that the station does not list.
ChainDelay chain_delay(const Chain& chain, const Station& station, const std::optional<Instant>& when);

}  // namespace firstedge
