// The one table of a Stamp's fields as they stand in a stamp table, HDF5 and CSV alike.
#pragma once

#include "firstedge/core/stamp.hpp"

#include <cstdint>

namespace firstedge {

/// visit(name, member pointer) for each field that is a number, in the order of the table; `flags`, which is
/// a FlagSet, stands behind them as the last.
template <class Visit>
void for_each_stamp_number(Visit&& visit) {
  visit("record", &Stamp::record);
  visit("channel", &Stamp::channel);
  visit("method", &Stamp::method);
  visit("pulse", &Stamp::pulse);
  visit("polarity", &Stamp::polarity);
  visit("time_s", &Stamp::time_s);
  visit("uncertainty_s", &Stamp::uncertainty_s);
  visit("bound_s", &Stamp::bound_s);
  visit("height_v", &Stamp::height_v);
  visit("charge_c", &Stamp::charge_c);
  visit("slew_v_per_s", &Stamp::slew_v_per_s);
  visit("noise_v", &Stamp::noise_v);
  visit("transition_duration_s", &Stamp::transition_duration_s);
  visit("baseline_v", &Stamp::baseline_v);
  visit("goodness", &Stamp::goodness);
}

/// The name of the last field.
inline constexpr const char* stamp_flags_name = "flags";

}  // namespace firstedge
