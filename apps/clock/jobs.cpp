#include "clock/jobs.hpp"

#include "firstedge/batch/run_clock.hpp"
#include "firstedge/clock/tie_result.hpp"
#include "firstedge/io/leap_second_file.hpp"
#include "firstedge/report/report.hpp"

#include <numbers>

namespace firstedge {

ClockJobs::ClockJobs(CLI::App& app) {
  add_convert(app);
  add_tie(app);
  add_compare(app);
  for (CLI::App* job : {convert_, tie_, compare_}) {
    job->add_option("--leap-seconds", leap_seconds_,
                    "Table of leap seconds; without it, that of the system's time zone package");
    add_result_options(*job, outputs_);
  }
}

void ClockJobs::add_convert(CLI::App& app) {
  convert_ = app.add_subcommand("convert", "Times on UTC, TAI and GPS time, as MJD and as GPS week");
  convert_
      ->add_option("times", times_,
                   "ISO 8601 (\"2016-12-31T23:59:60Z\"), \"MJD 57754.25\", or \"week 1930 second 18.5\"")
      ->required();
  convert_->add_option("--scale", scale_, "Scale of times that do not say theirs: UTC, TAI or GPS")
      ->check(CLI::IsMember({"UTC", "TAI", "GPS"}));
}

void ClockJobs::add_tie(CLI::App& app) {
  tie_ = app.add_subcommand("tie", "A counter's readings on UTC, by recorded pulses per second");
  tie_->add_option("edges", edges_,
                   "Table of edges (columns counter, second, correction), or a stamp table with --channel")
      ->required();
  tie_->add_option("--rate", counter_.rate_hz, "Nominal rate of the counter, ticks a second");
  tie_->add_option("--readings", readings_, "Table of readings whose times are wanted (column counter)");
  tie_->add_option("--channel", channel_, "Of a stamp table: the channel that records the pulses");
  tie_->add_option("--method", method_, "Of a stamp table: the timing method; without it, the first");
  tie_->add_option("--instants", instants_, "Write the readings' times to this file, comma-separated");
  tie_->add_option("--reference-period", reference_period_, "Of the counter's reference, like \"100 ns\"");
  tie_->add_option("--edge-delay", edge_delay_, "How late the pulses come at the counter, like \"250 ns\"");
  tie_->add_option("--reference-uncertainty", reference_uncertainty_,
                   "Standard uncertainty of the pulses and their delay, like \"5 ns\"");
}

void ClockJobs::add_compare(CLI::App& app) {
  compare_ = app.add_subcommand("compare", "The clocks of two stations, by CGGTTS files");
  compare_->add_option("--first", stations_[0], "CGGTTS files (2E) of the first station")->required();
  compare_->add_option("--second", stations_[1], "Those of the second")->required();
  compare_->add_option("--third", stations_[2], "Those of a third, for a closure");
  compare_->add_option("--system", comparison_.choice.system,
                       "Letter of the satellites' system; without it, that with the most tracks");
  compare_->add_option("--code", comparison_.choice.code,
                       "Signal, like L3P; without it, that with the most tracks");
  compare_
      ->add_option("--lowest-elevation", lowest_elevation_deg_, "Lowest elevation of a satellite, degrees")
      ->check(CLI::Range(0, 90));
  compare_->add_option("--smoothing", smoothing_,
                       "Half width of the smoothed course, like \"21600 s\"; 0: none");
  compare_->add_option("--calibration-uncertainty", calibration_,
                       "Standard uncertainty of the stations' delays in the difference, like \"2 ns\"");
}

int ClockJobs::run(int argc, char** argv) const {
  if (convert_->parsed()) return convert(argc, argv);
  return tie_->parsed() ? tie(argc, argv) : compare(argc, argv);
}

std::filesystem::path ClockJobs::leap_second_table() const {
  return leap_seconds_.empty() ? system_leap_second_file : leap_seconds_;
}

int ClockJobs::convert(int argc, char** argv) const {
  const std::filesystem::path table = leap_second_table();
  const LeapSeconds leap_seconds(read_leap_second_list(table));
  std::vector<Instant> instants;
  for (const std::string& time : times_)
    instants.push_back(parse_time(time, *time_scale_named(scale_), leap_seconds, "times"));
  Result result = instants_result(instants, leap_seconds);
  result.provenance = provenance_of(argc, argv, {table}, "");
  put_out(result, outputs_);
  return 0;
}

int ClockJobs::tie(int argc, char** argv) const {
  const std::filesystem::path table = leap_second_table();
  const LeapSeconds leap_seconds(read_leap_second_list(table));
  CounterClockOptions options = counter_;
  if (!reference_period_.empty())
    options.reference_period_s = quantity_named("--reference-period", reference_period_, "s");
  if (!edge_delay_.empty()) options.edge_delay_s = quantity_named("--edge-delay", edge_delay_, "s");
  if (!reference_uncertainty_.empty())
    options.reference_uncertainty_s = quantity_named("--reference-uncertainty", reference_uncertainty_, "s");
  if (!channel_.empty()) options.rate_hz = 1;
  const TieInput input = channel_.empty() ? tie_input_of_tables(edges_, readings_)
                                          : tie_input_of_stamps(edges_, channel_, method_, leap_seconds);
  const CounterClock clock = CounterClock::from_edges(input.edges, leap_seconds, options);
  const std::vector<TimedReading> readings = timed(clock, input.readings);
  Result result = tie_result(clock, input.edges, readings, leap_seconds);
  std::vector<std::filesystem::path> files{edges_, table};
  if (!readings_.empty()) files.push_back(readings_);
  result.provenance = provenance_of(argc, argv, files, "");
  if (!instants_.empty()) write_whole(instants_, readings_text(readings, leap_seconds));
  put_out(result, outputs_);
  return tell_left_out(app_name(argv), "lines", input.good, input.bad, input.problems);
}

int ClockJobs::compare(int argc, char** argv) const {
  const std::filesystem::path table = leap_second_table();
  const LeapSeconds leap_seconds(read_leap_second_list(table));
  StationComparisonOptions options = comparison_;
  options.choice.lowest_elevation_rad = lowest_elevation_deg_ * std::numbers::pi / 180;
  if (!smoothing_.empty()) options.smoothing_half_width_s = quantity_named("--smoothing", smoothing_, "s");
  if (!calibration_.empty())
    options.calibration_uncertainty_s = quantity_named("--calibration-uncertainty", calibration_, "s");
  std::vector<std::vector<std::filesystem::path>> stations;
  std::vector<std::filesystem::path> files;
  for (const auto& of_station : stations_) {
    if (of_station.empty()) continue;
    stations.push_back(of_station);
    files.insert(files.end(), of_station.begin(), of_station.end());
  }
  const TrackInput input = tracks_of_files(stations);
  Result result = compare_stations(input.stations, leap_seconds, options);
  for (const std::string& remark : input.remarks) result.cautions.push_back(remark + ".");
  files.push_back(table);
  result.provenance = provenance_of(argc, argv, files, "");
  put_out(result, outputs_);
  return tell_left_out(app_name(argv), "lines", input.good, input.bad, input.problems);
}

}  // namespace firstedge
