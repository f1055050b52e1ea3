// The step of recorded values that are written as numbers rather than counts. Used by the conditioning; not
// meant for other rooms.
#pragma once

#include <span>

namespace firstedge {

/// One count of the digitizer in the unit of the values, when they were written out as numbers (text files,
/// floating point data sets) and so lost their counts; 0 when they show no step.
///
/// A step is seen when values repeat (no more distinct ones than a quarter of the samples) and nine in ten of
/// the gaps between neighbouring values are whole multiples of one step, to three tenths of it, which leaves
/// room for printing to few digits. The smallest gaps give the step; if no two neighbouring counts were met
/// it comes out too large by a whole factor. Values that are not finite are left out. Fewer than 32 samples:
/// 0.
double step_between_values(std::span<const double> values);

}  // namespace firstedge
