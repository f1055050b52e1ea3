// firstedge-delay: how long cables and boxes take: through them, by reflection, and from many comparisons.
#include "firstedge/batch/run_delay.hpp"
#include "firstedge/delay/closure.hpp"
#include "firstedge/delay/repeats.hpp"
#include "firstedge/delay/travelling_clock.hpp"
#include "firstedge/io/column_table.hpp"

#include "common/app.hpp"

#include <limits>
#include <map>

namespace {

using namespace firstedge;

/// Options that several of the jobs share, and those of each.
struct Options {
  std::vector<std::filesystem::path> files;
  std::filesystem::path setup, table;
  ThroughRunOptions through;
  ReflectionRunOptions reflected;
  ReflectionOptions reflection;
  std::string cut, reference;
  ClockTripOptions trip;
  RepeatsOptions repeats;
  ResultOutputs outputs;
};

struct Call {
  int argc;
  char** argv;
};

Setup setup_of(const Options& options) {
  return options.setup.empty() ? default_setup() : read_setup(options.setup);
}

int finish(Result result, const Options& options, Provenance provenance) {
  result.provenance = std::move(provenance);
  put_out(result, options.outputs);
  return 0;
}

int through(const Options& options, Call call) {
  const Setup setup = setup_of(options);
  const ThroughRun run = through_of_run(options.files, setup, options.through);
  std::vector<std::filesystem::path> inputs = options.files;
  inputs.insert(inputs.end(), options.through.files_after.begin(), options.through.files_after.end());
  finish(analyse_through(run.data), options, provenance_of(call.argc, call.argv, inputs, setup.text));
  return tell_problems(app_name(call.argv), run.account);
}

int reflection(Options options, Call call) {
  const Setup setup = setup_of(options);
  if (!options.cut.empty()) options.reflection.cut_s = quantity_named("--cut", options.cut, "s");
  const ReflectionRun run = reflection_of_run(options.files, setup, options.reflected);
  Result result = analyse_reflection(run.average, options.reflection);
  result.figures.push_back({"left_out", "Records left out", {static_cast<double>(run.left_out), -1}, ""});
  finish(std::move(result), options, provenance_of(call.argc, call.argv, options.files, setup.text));
  return tell_problems(app_name(call.argv), run.account);
}

int closure(const Options& options, Call call) {
  const ColumnTable table = ColumnTable::read(options.table);
  table.check_columns({"first", "second", "difference", "uncertainty"}, {"offset", "remark"});
  std::vector<MeasuredDifference> measured;
  for (std::size_t row = 0; row < table.rows(); ++row)
    measured.push_back(
        {table.text(row, "first"),
         table.text(row, "second"),
         table.text(row, "offset"),
         {table.needed_quantity(row, "difference", "s"), table.needed_quantity(row, "uncertainty", "s")}});
  return finish(analyse_closure(measured, options.reference), options,
                provenance_of(call.argc, call.argv, {options.table}, ""));
}

int clock_trip_job(const Options& options, Call call) {
  const ColumnTable table = ColumnTable::read(options.table);
  table.check_columns({"station", "time", "offset", "uncertainty"}, {"remark"});
  std::vector<ClockVisit> visits;
  for (std::size_t row = 0; row < table.rows(); ++row)
    visits.push_back(
        {table.text(row, "station"),
         table.needed_quantity(row, "time", "s"),
         {table.needed_quantity(row, "offset", "s"), table.needed_quantity(row, "uncertainty", "s")}});
  return finish(analyse_clock_trip(visits, options.trip), options,
                provenance_of(call.argc, call.argv, {options.table}, ""));
}

int repeats_job(const Options& options, Call call) {
  const ColumnTable table = ColumnTable::read(options.table);
  table.check_columns({"delay"}, {"temperature", "remark"});
  std::vector<Repeat> repeats;
  for (std::size_t row = 0; row < table.rows(); ++row)
    repeats.push_back(
        {table.needed_quantity(row, "delay", "s"),
         table.quantity(row, "temperature", "°C").value_or(std::numeric_limits<double>::quiet_NaN())});
  return finish(analyse_repeats(repeats, options.repeats), options,
                provenance_of(call.argc, call.argv, {options.table}, ""));
}

CLI::App* records_job(CLI::App& app, Options& options, const std::string& name, const std::string& what) {
  CLI::App* job = app.add_subcommand(name, what);
  job->add_option("files", options.files, "Files or folders of one run, in order")->required();
  job->add_option("--setup", options.setup, "The Setup (JSON); without it, defaults");
  add_result_options(*job, options.outputs);
  return job;
}

CLI::App* table_job(CLI::App& app, Options& options, const std::string& name, const std::string& what,
                    const std::string& columns) {
  CLI::App* job = app.add_subcommand(name, what);
  job->add_option("table", options.table, "Table of text with the columns " + columns)->required();
  add_result_options(*job, options.outputs);
  return job;
}

void add_through(CLI::App& app, Options& options) {
  CLI::App* job = records_job(app, options, "through", "Delay from the pulse before to the pulse after");
  job->add_option("--before", options.through.before, "Channel before; without it, the first");
  job->add_option("--after", options.through.after, "Channel after; without it, the second");
  job->add_option("--then", options.through.files_after,
                  "A second run with the same trigger, in which the pulse after was recorded");
  job->add_option("--records", options.through.most_records, "Records to use, from the start")
      ->check(CLI::PositiveNumber);
}

void add_reflection(CLI::App& app, Options& options) {
  using End = ReflectionOptions::End;
  static const std::map<std::string, End> ends{
      {"open", End::open}, {"shorted", End::shorted}, {"matched", End::matched}};
  CLI::App* job = records_job(app, options, "reflection", "Delay and mismatches from echoes at the near end");
  job->footer("Example:\n  firstedge-delay reflection run.h5 --channel echo --end open --page echoes.html");
  job->add_option("--channel", options.reflected.channel, "Channel; without it, the first");
  job->add_option_function<std::string>(
         "--end", [&options](const std::string& end) { options.reflection.end = ends.at(end); },
         "Far end: open, shorted or matched")
      ->check(CLI::IsMember({"open", "shorted", "matched"}))
      ->option_text("TEXT:{open,shorted,matched}=open");
  job->add_option("--cut", options.cut, "Where the pulse is over and echoes may start, such as \"30 ns\"");
  job->add_option("--impedance", options.reflection.impedance_ohm, "Of the cable at its near end, ohm")
      ->check(CLI::PositiveNumber);
  job->add_option("--records", options.reflected.most_records, "Records to use, from the start")
      ->check(CLI::PositiveNumber);
}

void add_tables(CLI::App& app, Options& options) {
  CLI::App* job = table_job(app, options, "closure", "Closes a network of measured differences",
                            "first, second, difference, uncertainty, and offset where one is shared");
  job->footer("Example:\n  firstedge-delay closure differences.csv --reference C");
  job->add_option("--reference", options.reference, "What counts as zero; without it, the first name");
  job = table_job(app, options, "clock-trip", "Offsets of clocks by a portable one",
                  "station, time, offset (portable less station), uncertainty");
  job->footer("Example:\n  firstedge-delay clock-trip visits.csv --home north --white-frequency 1e-11");
  job->add_option("--home", options.trip.home, "Station that the others are held against");
  job->add_flag("--drift", options.trip.drift, "Fit a drift of the portable clock's rate");
  job->add_option("--white-frequency", options.trip.white_frequency,
                  "Allan deviation of the portable clock at 1 s, white frequency noise")
      ->check(CLI::NonNegativeNumber);
  job = table_job(app, options, "repeats", "Mean and temperature coefficient of repeated measurements",
                  "delay, and temperature in °C");
  job->footer("Example:\n  firstedge-delay repeats repeats.csv --at 20 --temperature-uncertainty 2");
  job->add_option("--at", options.repeats.reference_c, "Temperature that the delay is given for, °C");
  job->add_option("--temperature-uncertainty", options.repeats.temperature_uncertainty_c,
                  "Standard uncertainty of the temperature where the delay is used, K")
      ->check(CLI::NonNegativeNumber);
}

int run(const CLI::App& app, const Options& options, Call call) {
  if (app.got_subcommand("through")) return through(options, call);
  if (app.got_subcommand("reflection")) return reflection(options, call);
  if (app.got_subcommand("closure")) return closure(options, call);
  if (app.got_subcommand("clock-trip")) return clock_trip_job(options, call);
  return repeats_job(options, call);
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Says how long cables and boxes take, and how well that is known.");
  firstedge::give_manners(app, "delay");
  app.footer("Example:\n  firstedge-delay through run.h5 --before near --after far --page delay.html");
  app.require_subcommand(1);
  add_through(app, options);
  add_reflection(app, options);
  add_tables(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return run(app, options, {argc, argv}); });
}
