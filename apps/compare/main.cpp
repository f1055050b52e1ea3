// firstedge-compare: recorded traces in; which method with which settings suits which channel, and whether an
// amplifier pays, out.
#include "firstedge/batch/compare_run.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

namespace {

using namespace firstedge;

struct Options {
  std::vector<std::filesystem::path> files;
  std::filesystem::path setup;
  std::string pair, bare, amplified;
  std::vector<std::string> allowed_flags;
  bool without_template = false;
  CompareRunOptions run;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("files", options.files, "Files or folders of one run, in order")->required();
  app.add_option("--setup", options.setup, "The Setup (JSON): channels, conditioning; without it, defaults");
  app.add_option(
      "--pair", options.pair,
      "Two channels as first,second: the difference is first less second; without it, the first two");
  app.add_option("--bare", options.bare, "The channel without an amplifier; with --amplified");
  app.add_option("--amplified", options.amplified, "The channel behind the amplifier that is judged");
  app.add_option("--thresholds", options.run.plan.thresholds,
                 "Leading-edge thresholds over the median height")
      ->delimiter(',')
      ->check(CLI::Range(0.001, 0.999));
  app.add_option("--walks", options.run.plan.walks,
                 "What tells the walk of a leading edge: each threshold is tried without and with each")
      ->delimiter(',')
      ->check(CLI::IsMember({"height", "time_over_threshold", "slew"}));
  app.add_option("--fractions", options.run.plan.fractions, "Constant fractions of the height")
      ->delimiter(',')
      ->check(CLI::Range(0.001, 0.999));
  app.add_option("--delayed-fractions", options.run.plan.delayed_fractions,
                 "Fractions of the delayed fraction")
      ->delimiter(',')
      ->check(CLI::Range(0.001, 0.999));
  app.add_option("--delays", options.run.plan.delays, "Its delays over the transition duration")
      ->delimiter(',')
      ->check(CLI::Range(0.01, 100.0));
  app.add_option("--cuts", options.run.plan.cuts, "Low-pass corners over the signal band")
      ->delimiter(',')
      ->check(CLI::Range(0.01, 100.0));
  app.add_flag("--without-template", options.without_template, "Leave the template fit out");
  app.add_flag("--with-family", options.run.plan.template_family,
               "Try the fit with a shape for each pulse too; for sensors whose shapes vary");
  app.add_option("--allow", options.allowed_flags,
                 "Flags that do not keep a stamp out, such as undersampled");
  app.add_option("--records", options.run.most_records, "Most records that are read, from the start")
      ->check(CLI::Range(40, 10'000'000));
  app.add_option("--threads", options.run.threads, "Threads; 0 takes all processors")
      ->check(CLI::Range(0, 1024));
  app.add_option("--seed", options.run.compare.bootstrap.seed, "Seed of the bootstrap");
  add_result_options(app, options.outputs);
}

int compare(Options& options, int argc, char** argv) {
  if (!options.pair.empty()) {
    std::tie(options.run.first, options.run.second) = pair_named(options.pair);
  }
  if (!options.bare.empty()) options.run.bare = options.bare;
  if (!options.amplified.empty()) options.run.amplified = options.amplified;
  options.run.allowed_flags = flags_named(options.allowed_flags);
  options.run.plan.template_fit = !options.without_template;
  const Setup setup = options.setup.empty() ? default_setup() : read_setup(options.setup);
  const Provenance provenance = provenance_of(argc, argv, options.files, setup.text);
  CompareRun run;
  {
    ProgressLine progress("comparing");
    options.run.progress = [&](std::uint64_t records, double share) { progress.show(records, share); };
    run = compare_run(options.files, setup, options.run);
  }
  run.result.provenance = provenance;
  put_out(run.result, options.outputs);
  return tell_problems(app_name(argv), run.account);
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Says which method with which settings suits which channel, and whether an amplifier pays.");
  firstedge::give_manners(app, "compare");
  app.footer(
      "Example:\n  firstedge-compare run.h5 --setup bench.json --bare bare --amplified amplified --page "
      "compare.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return compare(options, argc, argv); });
}
