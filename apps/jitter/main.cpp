// firstedge-jitter: a stamp table in; how well channels agree, and what that says of each sensor, out.
#include "firstedge/jitter/jitter.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

namespace {

using namespace firstedge;

struct Options {
  std::filesystem::path table;
  std::vector<std::string> pairs, allowed_flags;
  JitterOptions jitter;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("table", options.table, "Stamp table, .h5 or .csv")->required();
  app.add_option("--pair", options.pairs,
                 "Two channels as first,second: the difference is first less second; may be "
                 "given again; without it, every pair");
  app.add_option("--method", options.jitter.method, "Timing method shown in full; without it, the narrowest");
  app.add_option("--allow", options.allowed_flags,
                 "Flags that do not keep a stamp out, such as undersampled");
  app.add_option("--lowest-height", options.jitter.lowest_height_v, "Lowest height of both pulses, V");
  app.add_option("--highest-height", options.jitter.highest_height_v, "Highest height of both pulses, V");
  app.add_option("--height-bins", options.jitter.height_bins, "Bins of jitter against height")
      ->check(CLI::Range(1, 100));
  app.add_option("--blocks", options.jitter.over_time.most_blocks,
                 "Blocks along the run, at most, for what is told over time; 0 leaves that part out")
      ->check(CLI::Range(0, 65536));
  app.add_option("--seed", options.jitter.bootstrap.seed, "Seed of the bootstrap");
  add_result_options(app, options.outputs);
}

int jitter(Options& options, int argc, char** argv) {
  for (const std::string& pair : options.pairs) {
    const auto [first, second] = pair_named(pair);
    options.jitter.pairs.push_back({first, second});
  }
  options.jitter.allowed_flags = flags_named(options.allowed_flags);
  StampTableReader table(options.table);
  JitterStamps stamps(channel_names(table.head()), method_names(table.head()));
  gather(table, stamps);
  for (const TriggerRow& trigger : table.triggers()) stamps.add_trigger({trigger.record, trigger.instant});
  Result result = analyse_jitter(std::move(stamps), options.jitter);
  result.provenance = provenance_of(argc, argv, {options.table}, table.head().provenance.setup);
  put_out(result, options.outputs);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Says how well channels agree on the time of a particle, beside the Cramér-Rao bound.");
  firstedge::give_manners(app, "jitter");
  app.footer("Example:\n  firstedge-jitter stamps.h5 --pair upstream,downstream --page jitter.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return jitter(options, argc, argv); });
}
