// firstedge-clock: times on UTC, TAI and GPS time; a digitizer's counter tied to UTC; two stations compared.
#include "clock/jobs.hpp"
#include "common/app.hpp"

int main(int argc, char** argv) {
  using namespace firstedge;
  CLI::App app(
      "Puts times on UTC: converts them, ties a counter to pulses per second, compares two stations.");
  give_manners(app, "clock");
  app.footer(
      "Example:\n"
      "  firstedge-clock convert 2016-12-31T23:59:60Z 'MJD 57754.25'\n"
      "  firstedge-clock tie edges.csv --rate 312.5e6 --readings triggers.csv --instants utc.csv --page "
      "tie.html\n"
      "  firstedge-clock compare --first north/*.cgg --second south/*.cgg --page stations.html");
  app.require_subcommand(1);
  ClockJobs jobs(app);
  return run_app(app, argc, argv, [&] { return jobs.run(argc, argv); });
}
