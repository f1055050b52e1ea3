// Tables and plots of a jitter result: what was found, put into the form that the report room shows.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/jitter/pair_figures.hpp"
#include "firstedge/jitter/pairs.hpp"
#include "firstedge/jitter/sensors.hpp"
#include "firstedge/stats/height_dependence.hpp"
#include "firstedge/stats/histogram.hpp"

#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// One pair with all that was found of it.
struct JudgedPair {
  PairSample sample;
  PairFigures figures;
  HeightDependence heights;
};

/// One method on one pair, for the comparison of methods.
struct MethodOnPair {
  std::string method, pair;
  PairAccount account;
  PairFigures figures;
};

Table pairs_table(std::span<const JudgedPair> pairs);
Table bounds_table(std::span<const JudgedPair> pairs);
Table intervals_table(std::span<const JudgedPair> pairs, double coverage);
Table heights_table(std::span<const JudgedPair> pairs);
Table height_laws_table(std::span<const JudgedPair> pairs);
Table sensors_table(std::span<const std::string> names, const SensorResolutions& found);
Table shared_equally_table(const JitterStamps& stamps, const JudgedPair& pair);
Table methods_table(std::span<const MethodOnPair> methods);
Table counts_table(const JitterStamps& stamps, std::span<const JudgedPair> pairs);

Plot difference_plot(const JudgedPair& pair, const BinOptions& bins, std::size_t number);
Plot normal_plot(const JudgedPair& pair, std::size_t number);
Plot height_plot(const JudgedPair& pair, std::size_t number);
Plot walk_plot(const JudgedPair& pair, std::size_t number);
Plot pull_plot(const JudgedPair& pair, std::size_t number);
Plot drift_plot(const JudgedPair& pair, std::size_t number);

}  // namespace firstedge
