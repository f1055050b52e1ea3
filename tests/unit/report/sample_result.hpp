// A result with all that a page can show, made of invented numbers of the Skerry test line: two sensors, one
// bench run.
#pragma once

#include "firstedge/core/result.hpp"

namespace firstedge {

/// Histogram with fit and markers, a scatter with error bars over a logarithmic axis, overlaid traces, a
/// spectrum with two logarithmic axes, points, a long table, warnings and cautions. The same on every call.
Result sample_result();

/// A result whose every text tries to leave its place in the page.
Result hostile_result();

/// What strains the layout and the arithmetic of a page: empty, constant, single, NaN and non-positive
/// series, many series with long names, markers close together, a table of many columns, words without a
/// space.
Result awkward_result();

}  // namespace firstedge
