// firstedge-agree: arrivals at two stations in; whether they agree on the time, and what is wrong if not,
// out.
#include "firstedge/agree/agree.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/instant_table.hpp"
#include "firstedge/io/setup.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

#include <algorithm>

#include <fmt/format.h>

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

// One station: its file, and what its Setup lists beside the chains.
struct StationFile {
  std::filesystem::path file;
  std::string name;
  bool csv = false;
  std::vector<std::string> channels;  // of a stamp table
  std::vector<Element> elements;
};

StationFile open_station(const std::filesystem::path& file) {
  StationFile station{.file = file,
                      .name = file.stem().string(),
                      .csv = is_instant_csv(file),
                      .channels = {},
                      .elements = {}};
  if (station.csv) return station;
  const StampTableReader table(file);
  station.channels = channel_names(table.head());
  const std::string& setup = table.head().provenance.setup;
  if (!setup.empty()) station.elements = parse_setup(setup, "the Setup in " + file.string()).elements;
  return station;
}

// Elements of the Setup that the chain does not hold, as terms.
std::vector<DelayTerm> spare_of(const StationFile& station, const InstantList& list) {
  std::vector<DelayTerm> spare;
  for (const Element& element : station.elements) {
    const bool used = std::any_of(list.chain.begin(), list.chain.end(),
                                  [&](const DelayTerm& term) { return term.name == element.name; });
    if (!used) spare.push_back({.name = element.name, .input = element.calibrations.back().delay_s});
  }
  return spare;
}

InstantList list_of(const StationFile& station, const std::string& channel, const Options& options) {
  if (station.csv) return read_instant_csv(station.file, *time_scale_named(options.scale));
  StampTableReader table(station.file);
  InstantList list = instants_of(
      table, station.name,
      {.channel = channel, .method = options.method, .allowed_flags = flags_named(options.allowed_flags)});
  list.spare = spare_of(station, list);
  return list;
}

std::vector<std::pair<std::string, std::string>> pairs_of(const Options& options, const StationFile& first,
                                                          const StationFile& second) {
  std::vector<std::pair<std::string, std::string>> pairs;
  for (const std::string& pair : options.pairs) pairs.push_back(pair_named(pair));
  if (!pairs.empty()) return pairs;
  if (first.csv || second.csv)
    return {{first.csv ? "" : first.channels.at(0), second.csv ? "" : second.channels.at(0)}};
  for (std::size_t i = 0; i < std::min(first.channels.size(), second.channels.size()); ++i)
    pairs.emplace_back(first.channels[i], second.channels[i]);
  return pairs;
}

Agreement agreement_of(const Options& options) {
  const StationFile first = open_station(options.first), second = open_station(options.second);
  const auto pairs = pairs_of(options, first, second);
  const auto way_of = [&](const std::string& a, const std::string& b) {
    Way way{.name = "", .first = list_of(first, a, options), .second = list_of(second, b, options)};
    way.name = fmt::format("{} to {}", way.first.name, way.second.name);
    return way;
  };
  Agreement agreement;
  for (const auto& [a, b] : pairs) agreement.ways.push_back(way_of(a, b));
  if (pairs.size() < 2 || first.csv || second.csv) return agreement;
  for (const auto& one : pairs) {
    for (const auto& other : pairs) {
      const std::pair crossed{one.first, other.second};
      if (std::find(pairs.begin(), pairs.end(), crossed) == pairs.end())
        agreement.crossings.push_back(way_of(crossed.first, crossed.second));
    }
  }
  return agreement;
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
  const double clock_s = quantity_named("--clock-uncertainty", options.clock_uncertainty, "s");
  if (clock_s < 0) throw Error("--clock-uncertainty", "is below 0", "give a standard uncertainty");
  if (clock_s > 0)
    compare.clocks = {{.name = "clock of the first station", .input = {0, clock_s}},
                      {.name = "clock of the second station", .input = {0, clock_s}, .sensitivity = -1}};
  return compare;
}

int agree(const Options& options, int argc, char** argv) {
  const CompareOptions compare = compare_options(options);
  Result result = analyse_agreement(agreement_of(options), compare);
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
