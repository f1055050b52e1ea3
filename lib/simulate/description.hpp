// What a simulated run holds, as a Result: edges, heights, noise, digitizer step, and the noiseless shapes.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/simulate/simulation.hpp"

namespace firstedge {

/// One row a channel, the shapes at their heights, and the noise against frequency. The bound is the
/// Cramer-Rao bound of the time of a pulse of the planned height in white noise of the same standard
/// deviation (S. Kay, Estimation Theory (1993), ex. 3.13), quantisation included as step^2/12; coloured noise
/// is treated as if it were white, and pick-up is left out, so it is a figure for orientation.
Result describe(const Simulation& simulation, const Provenance& provenance);

}  // namespace firstedge
