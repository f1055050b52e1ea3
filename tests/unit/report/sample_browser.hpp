// Browsers of traces made of invented pulses, to be shown as pages.
#pragma once

#include "firstedge/core/trace_browser.hpp"

#include <cstddef>

namespace firstedge {

/// Ten pulses, of records 0, 100, 200, ... and by turns of two channels. Each trace has 201 samples from -10
/// ns on, 0.1 ns apart, on a level of 1 mV: zero until 0, a straight edge up to 100 mV at 1 ns, a straight
/// fall to zero at 6 ns. The time is 0.5 ns with an uncertainty of 10 ps; the fit is the same without the
/// sixth sample's 3 mV. Lists: all, the three of records 100, 300 and 500 that are clipped, and an empty one.
/// Plots: bins of height (three: two pulses, none here, one) and a point for each pulse.
TraceBrowser sample_browser();

/// The same with texts that try to leave their places.
TraceBrowser hostile_browser();

/// So many traces, each with a fit, as take so many values together.
TraceBrowser large_browser(std::size_t traces, std::size_t values);

}  // namespace firstedge
