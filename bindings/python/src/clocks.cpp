// Two stations' arrivals, a counter tied to pulses per second, and stations' clocks compared by satellites.
#include "firstedge/agree/agree.hpp"
#include "firstedge/batch/run_agreement.hpp"
#include "firstedge/batch/run_clock.hpp"
#include "firstedge/clock/station_comparison.hpp"
#include "firstedge/clock/tie_result.hpp"
#include "firstedge/clock/time_scales.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/instant_list.hpp"
#include "firstedge/io/instant_table.hpp"

#include "arrays.hpp"
#include "bindings.hpp"
#include "instants.hpp"
#include "stamps.hpp"
#include "texts.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <optional>
#include <variant>

#include <fmt/format.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

using Path = std::filesystem::path;

// The fields that arrays of instants share; the scale's name is padded with zeros.
struct ArrivalElement {
  std::uint64_t record;
  std::int64_t seconds, femtoseconds;
  std::array<char, 8> scale;
  double uncertainty_s;
};
struct ReadingElement {
  std::int64_t seconds, femtoseconds;
  std::array<char, 8> scale;
  double uncertainty_s, from_edge_s;
  bool holdover, in_slip;
};

// --- arrivals ---

std::vector<ArrivalElement> arrivals(const StampTable& table, const std::string& channel,
                                     const std::string& method, std::optional<std::uint16_t> pulse,
                                     std::uint32_t allowed_flags) {
  const std::size_t channel_number = channel_numbered(table.head, channel, "stamps");
  const std::size_t method_number = method_numbered(table.head, method, "stamps");
  std::map<std::uint64_t, Instant> triggers;
  for (const TriggerRow& row : table.triggers) triggers.emplace(row.record, row.instant);
  if (triggers.empty())
    throw Error("stamps", "has no trigger instants", "give a table of records that have them");
  std::vector<ArrivalElement> all;
  for (const Stamp& stamp : table.stamps) {
    const bool chosen = stamp.channel == channel_number && stamp.method == method_number &&
                        (!pulse || stamp.pulse == *pulse) && (stamp.flags.bits() & ~allowed_flags) == 0;
    const auto trigger = chosen ? triggers.find(stamp.record) : triggers.end();
    if (trigger == triggers.end() || !std::isfinite(stamp.time_s)) continue;
    const Instant instant = advanced(trigger->second, stamp.time_s);
    all.push_back({.record = stamp.record,
                   .seconds = instant.seconds,
                   .femtoseconds = instant.femtoseconds,
                   .scale = padded_name(instant.scale),
                   .uncertainty_s = stamp.uncertainty_s});
  }
  return all;
}

using Ticks = py::array_t<std::int64_t, py::array::c_style>;
using Numbers = py::array_t<double, py::array::c_style>;

// The arrivals of arrays of shape (arrivals,), under the rules of a CSV of instants.
InstantList instant_list(const std::string& name, const Ticks& seconds, const Ticks& femtoseconds,
                         const std::optional<Numbers>& uncertainty_s, const std::string& scale) {
  constexpr std::int64_t seconds_in_day = 86'400;
  constexpr std::int64_t first_second = -62'167'219'200, last_second = 253'402'300'799;  // years 0 to 9999
  const TimeScale on = scale_named(scale);
  InstantList list{.name = name};
  if (seconds.size() == 0) throw Error(name, "has no instants", "give one at least");
  if (static_cast<std::size_t>(seconds.size()) > most_instants)
    throw Error(name, fmt::format("has more than {} instants", most_instants), "split the array");
  for (py::ssize_t i = 0; i < seconds.size(); ++i) {
    if (seconds.at(i) < first_second || seconds.at(i) > last_second)
      throw Error(name, fmt::format("element {} is not in the years 0 to 9999", i),
                  "give seconds since 1970");
    list.instants.push_back(instant_of(seconds.at(i), femtoseconds.at(i), on));
    const bool last_of_day = (seconds.at(i) - first_second) % seconds_in_day == seconds_in_day - 1;
    if (femtoseconds.at(i) >= femtoseconds_per_second && !last_of_day)
      throw Error(name, fmt::format("element {} is in a leap second that no day ends with", i),
                  "give femtoseconds below 1e15");
    if (!uncertainty_s) continue;
    list.uncertainty_s.push_back(uncertainty_s->at(i));
    if (list.uncertainty_s.back() < 0 || std::isinf(list.uncertainty_s.back()))
      throw Error(name, fmt::format("element {} has the uncertainty_s {}", i, list.uncertainty_s.back()),
                  "give seconds, 0 or more, NaN where not known");
  }
  return list;
}

// A station's arrivals as callers give them: a file, a table, or a list.
using ArrivalsLike = std::variant<Path, const StampTable*, const InstantList*>;

StationArrivals arrivals_at(const ArrivalsLike& given, const std::string& name) {
  if (const auto* const* list = std::get_if<const InstantList*>(&given); list != nullptr && *list != nullptr)
    return **list;
  if (const auto* file = std::get_if<Path>(&given)) return *file;
  const auto* const* table = std::get_if<const StampTable*>(&given);
  return std::get<StampTableInMemory>(table_at(table == nullptr ? nullptr : *table, name));
}

Result agree(const ArrivalsLike& first, const ArrivalsLike& second,
             const std::vector<std::pair<std::string, std::string>>& pairs, const std::string& method,
             std::uint32_t allowed_flags, const std::string& scale,
             const std::pair<double, double>& distance_m, const std::pair<double, double>& beta,
             double clock_uncertainty_s, double window_s, std::uint64_t seed) {
  CompareOptions options;
  options.travel = travel_time({distance_m.first, distance_m.second}, {beta.first, beta.second});
  options.clocks = station_clocks(clock_uncertainty_s);
  options.match.window_s = window_s;
  options.budget.seed = seed;
  const AgreementRunOptions run{.pairs = pairs,
                                .method = method,
                                .allowed_flags = FlagSet::from_bits(allowed_flags),
                                .scale = scale_named(scale)};
  return analyse_agreement(
      agreement_of_stations(arrivals_at(first, "first"), arrivals_at(second, "second"), run), options);
}

std::pair<double, double> beta_from_momentum(double momentum_mev, double uncertainty_mev, double mass_mev) {
  const Estimate beta = beta_of({momentum_mev, uncertainty_mev}, mass_mev);
  return {beta.value, beta.uncertainty};
}

// --- a counter and pulses per second ---

// A counter that was tied, with the readings that came with its edges.
struct TiedCounter {
  CounterClock clock;
  LeapSeconds leap_seconds;
  std::vector<TimedReading> readings;
};

struct Tied {
  std::shared_ptr<TiedCounter> counter;
  Result result;
  std::vector<std::string> problems;
};

struct TieOptions {
  std::optional<double> reference_period_s;
  double edge_delay_s = 0, reference_uncertainty_s = 0;
};

Tied tied(const TieInput& input, double rate_hz, const TieOptions& given, const LeapSeconds& leap_seconds) {
  CounterClockOptions options;
  options.rate_hz = rate_hz;
  if (given.reference_period_s) options.reference_period_s = *given.reference_period_s;
  options.edge_delay_s = given.edge_delay_s;
  options.reference_uncertainty_s = given.reference_uncertainty_s;
  CounterClock clock = CounterClock::from_edges(input.edges, leap_seconds, options);
  std::vector<TimedReading> readings = timed(clock, input.readings);
  Result result = tie_result(clock, input.edges, readings, leap_seconds);
  return {.counter =
              std::make_shared<TiedCounter>(TiedCounter{std::move(clock), leap_seconds, std::move(readings)}),
          .result = std::move(result),
          .problems = sentences_of(input.problems)};
}

// Whole ticks and parts of one, shape (readings,) both.
std::vector<CounterReading> readings_of(const Ticks& ticks, const Numbers& fractions,
                                        const std::string& place) {
  if (ticks.ndim() != 1 || fractions.ndim() != 1 || ticks.size() != fractions.size())
    throw Error(place, "is not of shape (readings,)", "give one number a reading");
  std::vector<CounterReading> readings;
  for (py::ssize_t i = 0; i < ticks.size(); ++i) readings.push_back({ticks.at(i), fractions.at(i)});
  return readings;
}

// second: whole seconds of UTC since 1970, not_labelled where nothing says which; correction: s or NaN.
Tied tie_arrays(const Ticks& ticks, const Numbers& fractions, const Ticks& seconds,
                const Numbers& corrections, const Ticks& wanted, const Numbers& wanted_fractions,
                double rate_hz, const TieOptions& options, const std::optional<Path>& leap_second_file) {
  constexpr std::int64_t not_labelled = std::numeric_limits<std::int64_t>::min();
  TieInput input;
  const std::vector<CounterReading> counters = readings_of(ticks, fractions, "edges");
  if (seconds.size() != ticks.size() || corrections.size() != ticks.size())
    throw Error("seconds", "do not stand beside the edges one by one", "give one an edge");
  for (std::size_t i = 0; i < counters.size(); ++i) {
    const auto at = static_cast<py::ssize_t>(i);
    SecondEdge edge{.counter = counters[i]};
    if (seconds.at(at) != not_labelled) edge.label = Instant{TimeScale::utc, seconds.at(at), 0};
    edge.correction_s = corrections.at(at);
    input.edges.push_back(edge);
  }
  input.readings = readings_of(wanted, wanted_fractions, "readings");
  return without_lock([&] { return tied(input, rate_hz, options, leap_seconds_of(leap_second_file)); });
}

Tied tie_tables(const Path& edges, const Path& readings, double rate_hz, const TieOptions& options,
                const std::optional<Path>& leap_second_file) {
  return tied(tie_input_of_tables(edges, readings), rate_hz, options, leap_seconds_of(leap_second_file));
}

Tied tie_stamps(const TableLike& table, const std::string& channel, const std::string& method,
                const TieOptions& options, const std::optional<Path>& leap_second_file) {
  const LeapSeconds leap_seconds = leap_seconds_of(leap_second_file);
  return tied(tie_input_of_stamps(table_at(table, "stamps"), channel, method, leap_seconds), 1, options,
              leap_seconds);
}

py::array times_found(const std::vector<TimedReading>& readings, TimeScale scale,
                      const LeapSeconds& leap_seconds) {
  std::vector<ReadingElement> all;
  for (const TimedReading& reading : readings) {
    const Instant instant = on_scale(reading.found.tai, scale, leap_seconds);
    ReadingElement& element = all.emplace_back();  // zeros, what lies between its fields too
    element.seconds = instant.seconds;
    element.femtoseconds = instant.femtoseconds;
    element.scale = padded_name(scale);
    element.uncertainty_s = reading.found.uncertainty_s;
    element.from_edge_s = reading.found.from_edge_s;
    element.holdover = reading.found.holdover;
    element.in_slip = reading.found.in_slip;
  }
  return given_away(std::move(all));
}

py::array times_at(const TiedCounter& tied, const Ticks& ticks, const Numbers& fractions,
                   const std::string& scale) {
  const std::vector<CounterReading> readings = readings_of(ticks, fractions, "counter");
  const TimeScale on = scale_named(scale);
  const std::vector<TimedReading> found = without_lock([&] { return timed(tied.clock, readings); });
  return times_found(found, on, tied.leap_seconds);
}

void bind_counters(py::module_& module) {
  const py::call_guard<py::gil_scoped_release> released;
  py::class_<TieOptions>(module, "TieOptions", "What tie may know beside the edges; see firstedge.tie.")
      .def(py::init<std::optional<double>, double, double>(), py::arg("reference_period_s"),
           py::arg("edge_delay_s"), py::arg("reference_uncertainty_s"));
  py::class_<TiedCounter, std::shared_ptr<TiedCounter>>(
      module, "TiedCounter", "A counter tied to UTC by pulses per second; see firstedge.tie.")
      .def("at", &times_at, py::arg("ticks"), py::arg("fractions"), py::arg("scale"))
      .def_property_readonly("readings",
                             [](const TiedCounter& tied) {
                               return times_found(tied.readings, TimeScale::utc, tied.leap_seconds);
                             })
      .def_property_readonly("rate_hz", [](const TiedCounter& tied) { return tied.clock.rate_hz(); })
      .def_property_readonly("mean_rate", [](const TiedCounter& tied) { return tied.clock.mean_rate(); });
  py::class_<Tied>(module, "Tied", "What tying a counter gave.")
      .def_readonly("counter", &Tied::counter)
      .def_readonly("result", &Tied::result)
      .def_readonly("problems", &Tied::problems);
  module.def("tie_arrays", &tie_arrays, py::arg("ticks"), py::arg("fractions"), py::arg("seconds"),
             py::arg("corrections"), py::arg("wanted"), py::arg("wanted_fractions"), py::arg("rate_hz"),
             py::arg("options"), py::arg("leap_seconds"));
  module.def("tie_tables", &tie_tables, released, py::arg("edges"), py::arg("readings"), py::arg("rate_hz"),
             py::arg("options"), py::arg("leap_seconds"));
  module.def("tie_stamps", &tie_stamps, released, py::arg("table"), py::arg("channel"), py::arg("method"),
             py::arg("options"), py::arg("leap_seconds"));
}

// --- stations ---

std::pair<Result, std::vector<std::string>> compare_station_files(
    const std::vector<std::vector<Path>>& files, const std::string& system, const std::string& code,
    double lowest_elevation_deg, double smoothing_s, std::optional<double> calibration_uncertainty_s,
    const std::optional<Path>& leap_second_file) {
  if (!(lowest_elevation_deg >= 0 && lowest_elevation_deg <= 90))
    throw Error("lowest_elevation_deg", fmt::format("is {:g}", lowest_elevation_deg), "give 0 to 90");
  StationComparisonOptions options;
  options.choice.system = system;
  options.choice.code = code;
  options.choice.lowest_elevation_rad = lowest_elevation_deg * std::numbers::pi / 180;
  options.smoothing_half_width_s = smoothing_s;
  if (calibration_uncertainty_s) options.calibration_uncertainty_s = *calibration_uncertainty_s;
  const LeapSeconds leap_seconds = leap_seconds_of(leap_second_file);
  const TrackInput input = tracks_of_files(files);
  Result result = compare_stations(input.stations, leap_seconds, options);
  for (const std::string& remark : input.remarks) result.cautions.push_back(remark + ".");
  return {std::move(result), sentences_of(input.problems)};
}

}  // namespace

void bind_clocks(py::module_& module) {
  PYBIND11_NUMPY_DTYPE(ArrivalElement, record, seconds, femtoseconds, scale, uncertainty_s);
  PYBIND11_NUMPY_DTYPE(ReadingElement, seconds, femtoseconds, scale, uncertainty_s, from_edge_s, holdover,
                       in_slip);
  const py::call_guard<py::gil_scoped_release> released;
  module.def(
      "arrivals",
      [](const StampTable& table, const std::string& channel, const std::string& method,
         std::optional<std::uint16_t> pulse, std::uint32_t allowed_flags) {
        return given_away(
            without_lock([&] { return arrivals(table, channel, method, pulse, allowed_flags); }));
      },
      py::arg("table"), py::arg("channel"), py::arg("method"), py::arg("pulse"), py::arg("allowed_flags"));
  py::class_<InstantList>(module, "InstantList", "Arrivals at one station; see firstedge.agree.")
      .def(py::init(&instant_list), py::arg("name"), py::arg("seconds"), py::arg("femtoseconds"),
           py::arg("uncertainty_s"), py::arg("scale"));
  module.def("agree", &agree, released, py::arg("first"), py::arg("second"), py::arg("pairs"),
             py::arg("method"), py::arg("allowed_flags"), py::arg("scale"), py::arg("distance_m"),
             py::arg("beta"), py::arg("clock_uncertainty_s"), py::arg("window_s"), py::arg("seed"));
  module.def("beta_from_momentum", &beta_from_momentum, py::arg("momentum_mev"), py::arg("uncertainty_mev"),
             py::arg("mass_mev"));
  module.def(
      "travel_time",
      [](double distance_m, double beta) {
        return travel_time({distance_m, 0}, {beta, 0}).time_s;
      },
      py::arg("distance_m"), py::arg("beta") = 1.0,
      R"(How long a particle at beta times the speed of light takes for this distance, in s.

distance_m: m, 0 or more. beta: above 0, up to 1. Raises Error for other values. Source:
the speed of light is exact (SI Brochure, 9th edition).)");
  module.attr("MUON_MASS_MEV") = muon_mass_mev;
  bind_counters(module);
  module.def("compare_station_files", &compare_station_files, released, py::arg("files"), py::arg("system"),
             py::arg("code"), py::arg("lowest_elevation_deg"), py::arg("smoothing_s"),
             py::arg("calibration_uncertainty_s"), py::arg("leap_seconds"));
}

}  // namespace firstedge::python
