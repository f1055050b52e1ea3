// firstedge-agree: arrivals at two stations in; whether they agree on the time, and what is wrong if not,
// out.
#include "firstedge/agree/agree.hpp"
#include "firstedge/batch/run_agreement.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

namespace {

using namespace firstedge;

struct Options {
  std::filesystem::path first, second;
  std::vector<std::string> pairs, allowed_flags;
  std::string method, scale = "UTC";
  std::string distance = "0 m", distance_uncertainty = "0 m", clock_uncertainty = "0 s", window = "1 us";
  double beta = 1, beta_uncertainty = 0, momentum_mev = 0, momentum_uncertainty_mev = 0,
         mass_mev = muon_mass_mev;
  std::uint64_t seed = 1;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("first", options.first, "Arrivals at the first station: stamp table, or CSV of instants")
      ->required();
  app.add_option("second", options.second, "Arrivals at the second station")->required();
  app.add_option(
      "--pair", options.pairs,
      "A channel of each station as first,second; may be given again; without it, in the order of the "
      "tables");
  app.add_option("--method", options.method, "Timing method; without it, the first of each table");
  app.add_option("--allow", options.allowed_flags,
                 "Flags that do not keep a stamp out, such as calibration_expired");
  app.add_option("--distance", options.distance, "From the first station to the second, such as \"412 m\"");
  app.add_option("--distance-uncertainty", options.distance_uncertainty, "Its standard uncertainty");
  auto* beta = app.add_option("--beta", options.beta, "Speed over that of light");
  app.add_option("--beta-uncertainty", options.beta_uncertainty, "Its standard uncertainty");
  app.add_option("--momentum", options.momentum_mev, "Momentum, MeV/c, in place of beta")->excludes(beta);
  app.add_option("--momentum-uncertainty", options.momentum_uncertainty_mev,
                 "Its standard uncertainty, MeV/c");
  app.add_option("--mass", options.mass_mev, "Mass for the momentum, MeV/c^2 (the muon's)");
  app.add_option("--clock-uncertainty", options.clock_uncertainty,
                 "Standard uncertainty of each station's clock");
  app.add_option("--window", options.window, "How far from the expected time a partner is looked for");
  app.add_option("--scale", options.scale, "Time scale of CSV instants without a Z: UTC, TAI or GPS")
      ->check(CLI::IsMember({"UTC", "TAI", "GPS"}));
  app.add_option("--seed", options.seed, "Seed of the Monte Carlo");
  add_result_options(app, options.outputs);
}

AgreementRunOptions run_options(const Options& options) {
  AgreementRunOptions run{.pairs = {},
                          .method = options.method,
                          .allowed_flags = flags_named(options.allowed_flags),
                          .scale = *time_scale_named(options.scale)};
  for (const std::string& pair : options.pairs) run.pairs.push_back(pair_named(pair));
  return run;
}

CompareOptions compare_options(const Options& options) {
  const Estimate distance{quantity_named("--distance", options.distance, "m"),
                          quantity_named("--distance-uncertainty", options.distance_uncertainty, "m")};
  const Estimate beta =
      options.momentum_mev != 0
          ? beta_of({options.momentum_mev, options.momentum_uncertainty_mev}, options.mass_mev)
          : Estimate{options.beta, options.beta_uncertainty};
  CompareOptions compare;
  compare.travel = travel_time(distance, beta);
  compare.match.window_s = quantity_named("--window", options.window, "s");
  compare.budget.seed = options.seed;
  compare.clocks = station_clocks(quantity_named("--clock-uncertainty", options.clock_uncertainty, "s"));
  return compare;
}

int agree(const Options& options, int argc, char** argv) {
  const CompareOptions compare = compare_options(options);
  Result result =
      analyse_agreement(agreement_of_stations(options.first, options.second, run_options(options)), compare);
  result.provenance = provenance_of(argc, argv, {options.first, options.second}, "");
  put_out(result, options.outputs);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Says whether two stations agree on the time, and what is most likely wrong if they do not.");
  firstedge::give_manners(app, "agree");
  app.footer(
      "Example:\n  firstedge-agree south.h5 north.h5 --distance \"412 m\" --distance-uncertainty \"20 mm\" "
      "--page agree.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return agree(options, argc, argv); });
}
