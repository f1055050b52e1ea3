// firstedge-budget: records in, out comes what the spread of two channels' times is made of and what would
// help.
#include "firstedge/batch/run_budget.hpp"
#include "firstedge/budget/budget.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

namespace {

using namespace firstedge;

struct Options {
  std::vector<std::filesystem::path> files;
  std::filesystem::path setup;
  std::string pair;
  RunBudgetOptions run;
  BudgetOptions budget;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("files", options.files, "Files or folders of one run, in order")->required();
  app.add_option("--setup", options.setup,
                 "The Setup (JSON): channels, conditioning, methods; without it, defaults");
  app.add_option("--pair", options.pair, "Two channels as first,second; without it, the first two");
  app.add_option("--method", options.run.method, "Timing method; without it, the one with the least spread");
  app.add_option("--records", options.run.most_records, "Records to use, from the start")
      ->check(CLI::PositiveNumber);
  app.add_option("--seed", options.budget.bootstrap.seed, "Seed of the bootstrap");
  add_result_options(app, options.outputs);
}

int budget(Options& options, int argc, char** argv) {
  const Setup setup = options.setup.empty() ? default_setup() : read_setup(options.setup);
  if (!options.pair.empty()) {
    std::tie(options.run.first, options.run.second) = pair_named(options.pair);
  }
  const RunBudget run = budget_of_run(options.files, setup, options.run);
  Result result = analyse_budget(run.pair, options.budget);
  result.provenance = provenance_of(argc, argv, options.files, setup.text);
  put_out(result, options.outputs);
  return tell_problems(app_name(argv), run.account);
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Says what limits the time of two channels, term by term, and what would help most.");
  firstedge::give_manners(app, "budget");
  app.footer("Example:\n  firstedge-budget run.h5 --setup bench.setup.json --page budget.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return budget(options, argc, argv); });
}
