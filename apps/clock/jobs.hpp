// The three jobs of firstedge-clock: their options and what each does.
#pragma once

#include "firstedge/clock/counter_clock.hpp"
#include "firstedge/clock/station_comparison.hpp"

#include "common/app.hpp"

#include <array>
#include <filesystem>
#include <string>
#include <vector>

namespace firstedge {

class ClockJobs {
 public:
  /// Adds the jobs to the app.
  explicit ClockJobs(CLI::App& app);
  /// Does the one that was asked for; the exit code.
  int run(int argc, char** argv) const;

 private:
  void add_convert(CLI::App& app);
  void add_tie(CLI::App& app);
  void add_compare(CLI::App& app);
  int convert(int argc, char** argv) const;
  int tie(int argc, char** argv) const;
  int compare(int argc, char** argv) const;
  std::filesystem::path leap_second_table() const;

  CLI::App *convert_ = nullptr, *tie_ = nullptr, *compare_ = nullptr;
  ResultOutputs outputs_;
  std::filesystem::path leap_seconds_;

  std::vector<std::string> times_;
  std::string scale_ = "UTC";

  std::filesystem::path edges_, readings_, instants_;
  std::string channel_, method_;
  std::string reference_period_, edge_delay_, reference_uncertainty_;
  CounterClockOptions counter_;

  std::array<std::vector<std::filesystem::path>, 3> stations_;
  std::string smoothing_, calibration_;
  double lowest_elevation_deg_ = 10;
  StationComparisonOptions comparison_;
};

}  // namespace firstedge
