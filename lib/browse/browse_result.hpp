// The survey and its traces as people see them: answer, tables, plots, and what stands behind their points.
#pragma once

#include "firstedge/browse/survey.hpp"
#include "firstedge/core/trace_browser.hpp"

#include <cstddef>

namespace firstedge {

/// Fills in result, groups and points of a browser whose channels, methods and traces are there. chosen: how
/// many pulses were chosen, those among them whose record was not found too.
void show_survey(TraceBrowser& browser, const Survey& survey, const SurveyOptions& options,
                 std::size_t chosen);

}  // namespace firstedge
