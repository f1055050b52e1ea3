// Analyses of stamps, and of what people wrote down: Results.
#include "firstedge/amplitude/amplitude.hpp"
#include "firstedge/batch/run_spectra.hpp"
#include "firstedge/chain/chain.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/delay/closure.hpp"
#include "firstedge/delay/repeats.hpp"
#include "firstedge/delay/travelling_clock.hpp"
#include "firstedge/io/setup.hpp"
#include "firstedge/jitter/jitter.hpp"

#include "bindings.hpp"
#include "stamps.hpp"

#include <cmath>
#include <limits>
#include <optional>

#include <fmt/format.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

Result jitter(const StampTable& table, const std::vector<std::pair<std::string, std::string>>& pairs,
              const std::string& method, std::uint32_t allowed_flags, double lowest_height_v,
              double highest_height_v, std::size_t height_bins, std::size_t most_blocks, std::uint64_t seed) {
  JitterOptions options;
  for (const auto& [first, second] : pairs) options.pairs.push_back({first, second});
  options.method = method;
  options.allowed_flags = FlagSet::from_bits(allowed_flags);
  options.lowest_height_v = lowest_height_v;
  options.highest_height_v = highest_height_v;
  options.height_bins = height_bins;
  options.over_time.most_blocks = most_blocks;
  options.bootstrap.seed = seed;
  JitterStamps stamps(table.channels(), table.methods());
  stamps.add(table.stamps);
  for (const TriggerRow& trigger : table.triggers) stamps.add_trigger({trigger.record, trigger.instant});
  return analyse_jitter(std::move(stamps), options);
}

Setup setup_of(const StampTable& table, const std::optional<Setup>& given) {
  if (given) return *given;
  const std::string& text = table.head.provenance.setup;
  return text.empty() ? default_setup() : parse_setup(text, "stamps, the setup inside");
}

Result spectrum(const StampTable& table, const std::vector<std::filesystem::path>& records,
                const std::optional<Setup>& setup, std::optional<double> lowest_height_v,
                std::optional<double> highest_height_v) {
  AmplitudeOptions options;
  options.lowest_height_v = lowest_height_v;
  options.highest_height_v = highest_height_v;
  AmplitudePulses pulses(table.channels());
  pulses.add(table.stamps);
  std::vector<Error> problems;
  if (!records.empty()) {
    RunSpectra run = spectra_of_run(records, setup_of(table, setup));
    options.spectra = std::move(run.spectra);
    options.pedestals = std::move(run.pedestals);
    problems = std::move(run.account.problems);
  }
  Result result = analyse_amplitude(pulses, options);
  for (const Error& problem : problems) result.warnings.emplace_back(problem.what());
  return result;
}

// What chain needs beside the stamps.
struct ChainPlan {
  DelayPlan plan;
  Result result;
};

ChainPlan chain_plan(const std::vector<std::string>& channels, const std::vector<TriggerRow>& triggers,
                     const Setup& setup, const std::optional<Instant>& date, bool flag_expired,
                     std::uint64_t seed) {
  RunDates dates;
  dates.otherwise = date;
  for (const TriggerRow& row : triggers) dates.triggers.push_back({row.record, row.instant});
  const Station station{.name = setup.title,
                        .elements = setup.elements,
                        .chains = setup.chains(),
                        .temperature_c = setup.temperature_c};
  ChainOptions options;
  options.budget.seed = seed;
  DelayPlan plan =
      plan_delays(channels, station, dates, flag_expired ? ExpiredPolicy::flag : ExpiredPolicy::refuse);
  Result result = analyse_chains(plan, options);
  return {.plan = std::move(plan), .result = std::move(result)};
}

Result chain_budget(const Setup& setup, const std::optional<Instant>& date, bool flag_expired,
                    std::uint64_t seed) {
  std::vector<std::string> channels;
  for (const Chain& chain : setup.chains()) channels.push_back(chain.channel);
  return chain_plan(channels, {}, setup, date, flag_expired, seed).result;
}

std::pair<StampTable, Result> chain(const StampTable& table, const Setup& setup,
                                    const std::optional<Instant>& date, bool flag_expired,
                                    std::uint64_t seed) {
  if (!table.head.applied_delays.empty())
    throw Error("stamps", "delays were taken out of this table already", "take the table before");
  ChainPlan plan = chain_plan(table.channels(), table.triggers, setup, date, flag_expired, seed);
  StampTable without{.head = table.head,
                     .stamps = with_delays_out(table.stamps, table.channels(), plan.plan.delays),
                     .triggers = table.triggers};
  without.head.applied_delays = std::move(plan.plan.delays);
  without.head.provenance.setup = setup.text;
  return {std::move(without), std::move(plan.result)};
}

StampTable put_back(const StampTable& table) {
  if (table.head.applied_delays.empty())
    throw Error("stamps", "no delays were taken out of this table", "give one that firstedge.chain made");
  StampTable with{.head = table.head,
                  .stamps = with_delays_back(table.stamps, table.channels(), table.head.applied_delays),
                  .triggers = table.triggers};
  with.head.applied_delays.clear();
  return with;
}

Result closure(
    const std::vector<std::tuple<std::string, std::string, double, double, std::string>>& differences,
    const std::string& reference) {
  std::vector<MeasuredDifference> measured;
  for (const auto& [first, second, difference_s, uncertainty_s, offset] : differences)
    measured.push_back({first, second, offset, {difference_s, uncertainty_s}});
  return analyse_closure(measured, reference);
}

Result clock_trip(const std::vector<std::tuple<std::string, double, double, double>>& visits,
                  const std::string& home, bool drift, double white_frequency) {
  if (!(white_frequency >= 0)) throw Error("white_frequency", "is below 0", "give an Allan deviation at 1 s");
  std::vector<ClockVisit> of_clock;
  for (const auto& [station, time_s, offset_s, uncertainty_s] : visits)
    of_clock.push_back({station, time_s, {offset_s, uncertainty_s}});
  return analyse_clock_trip(of_clock, {.home = home, .drift = drift, .white_frequency = white_frequency});
}

Result repeats(const std::vector<double>& delays_s, const std::vector<double>& temperatures_c,
               std::optional<double> reference_c, double temperature_uncertainty_c) {
  if (!temperatures_c.empty() && temperatures_c.size() != delays_s.size())
    throw Error("temperatures_c",
                fmt::format("{} temperatures stand beside {} delays", temperatures_c.size(), delays_s.size()),
                "give one a delay, or none");
  std::vector<Repeat> all;
  for (std::size_t i = 0; i < delays_s.size(); ++i)
    all.push_back(
        {delays_s[i], temperatures_c.empty() ? std::numeric_limits<double>::quiet_NaN() : temperatures_c[i]});
  RepeatsOptions options;
  options.reference_c = reference_c;
  options.temperature_uncertainty_c = temperature_uncertainty_c;
  return analyse_repeats(all, options);
}

}  // namespace

void bind_analyses(py::module_& module) {
  const py::call_guard<py::gil_scoped_release> released;
  module.def("jitter", &jitter, released, py::arg("table"), py::arg("pairs"), py::arg("method"),
             py::arg("allowed_flags"), py::arg("lowest_height_v"), py::arg("highest_height_v"),
             py::arg("height_bins"), py::arg("most_blocks"), py::arg("seed"));
  module.def("spectrum", &spectrum, released, py::arg("table"), py::arg("records"), py::arg("setup"),
             py::arg("lowest_height_v"), py::arg("highest_height_v"));
  module.def("chain", &chain, released, py::arg("table"), py::arg("setup"), py::arg("date"),
             py::arg("flag_expired"), py::arg("seed"));
  module.def("chain_budget", &chain_budget, released, py::arg("setup"), py::arg("date"),
             py::arg("flag_expired"), py::arg("seed"));
  module.def("put_back", &put_back, released, py::arg("table"));
  module.def("closure", &closure, released, py::arg("differences"), py::arg("reference"));
  module.def("clock_trip", &clock_trip, released, py::arg("visits"), py::arg("home"), py::arg("drift"),
             py::arg("white_frequency"));
  module.def("repeats", &repeats, released, py::arg("delays_s"), py::arg("temperatures_c"),
             py::arg("reference_c"), py::arg("temperature_uncertainty_c"));
}

}  // namespace firstedge::python
