// firstedge-simulate: a planned bench or beam in, recorded-looking traces and their truth out.
#include "firstedge/batch/run_simulation.hpp"
#include "firstedge/simulate/description.hpp"
#include "firstedge/simulate/simulation.hpp"

#include "common/app.hpp"

#include <fmt/format.h>

namespace {

using namespace firstedge;

struct Options {
  std::filesystem::path plan, records = "run.h5", truth;
  std::uint64_t count = 0;
  std::int64_t seed = -1;
  int deflate_level = 4;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("plan", options.plan,
                 "The plan (JSON): samples, channels, shapes, heights, noise, digitizer")
      ->required();
  app.add_option("-o,--output", options.records, "File of records to write (HDF5)");
  app.add_option("--truth", options.truth, "Write the true times as a stamp table: .h5 or .csv");
  app.add_option("--records", options.count, "Number of records, in place of the plan's");
  app.add_option("--seed", options.seed, "Seed, in place of the plan's")->check(CLI::NonNegativeNumber);
  app.add_option("--deflate", options.deflate_level, "Compression level, 0 for none")
      ->check(CLI::Range(0, 9));
  add_result_options(app, options.outputs);
}

int simulate(const Options& options, int argc, char** argv) {
  SimulationPlan plan = read_simulation_plan(options.plan);
  if (options.count > 0) plan.records = options.count;
  if (options.seed >= 0) plan.seed = static_cast<std::uint64_t>(options.seed);
  const Simulation simulation(plan);
  Provenance provenance = provenance_of(argc, argv, {options.plan}, "");
  provenance.options["seed"] = fmt::format("{}", plan.seed);
  SimulationRunOptions run{.records = options.records,
                           .truth = options.truth.empty() ? std::nullopt : std::optional(options.truth),
                           .deflate_level = options.deflate_level,
                           .progress = {}};
  {
    ProgressLine progress("simulating");
    run.progress = [&](std::uint64_t records, double share) { progress.show(records, share); };
    write_simulation(simulation, provenance, run);
  }
  put_out(describe(simulation, provenance), options.outputs);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app(
      "Makes recorded-looking traces of a planned bench, and the true time of every pulse. Same plan and "
      "seed, "
      "same traces.");
  firstedge::give_manners(app, "simulate");
  app.footer("Example:\n  firstedge-simulate bench.plan.json -o bench.h5 --truth bench.truth.h5");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return simulate(options, argc, argv); });
}
