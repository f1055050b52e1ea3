#include "firstedge/batch/run_agreement.hpp"

#include "firstedge/io/instant_table.hpp"
#include "firstedge/io/setup.hpp"

#include <algorithm>
#include <optional>

#include <fmt/format.h>

namespace firstedge {
namespace {

// One station: its instants, or its table and what its Setup lists beside the chains.
struct Station {
  std::optional<InstantList> list;
  StampTableAt table;
  std::string name;
  std::vector<std::string> channels;
  std::vector<Element> elements;
};

Station station_with(const StampTableAt& at, const std::string& name) {
  Station station{.list = std::nullopt, .table = at, .name = name, .channels = {}, .elements = {}};
  const StampTableReader table(at);
  for (const StampTableHead::Channel& channel : table.head().channels)
    station.channels.push_back(channel.name);
  const std::string& setup = table.head().provenance.setup;
  if (!setup.empty()) station.elements = parse_setup(setup, "the Setup in " + place_of(at)).elements;
  return station;
}

Station open_station(const StationArrivals& arrivals, TimeScale scale) {
  if (const auto* list = std::get_if<InstantList>(&arrivals)) return {.list = *list, .name = list->name};
  if (const auto* table = std::get_if<StampTableInMemory>(&arrivals))
    return station_with(*table, table->name);
  const auto& file = std::get<std::filesystem::path>(arrivals);
  if (is_instant_csv(file)) return {.list = read_instant_csv(file, scale), .name = file.stem().string()};
  return station_with(file, file.stem().string());
}

// Elements of the Setup that the chain does not hold, as terms.
std::vector<DelayTerm> spare_of(const Station& station, const InstantList& list) {
  std::vector<DelayTerm> spare;
  for (const Element& element : station.elements) {
    const bool used = std::any_of(list.chain.begin(), list.chain.end(),
                                  [&](const DelayTerm& term) { return term.name == element.name; });
    if (!used) spare.push_back({.name = element.name, .input = element.calibrations.back().delay_s});
  }
  return spare;
}

InstantList list_of(const Station& station, const std::string& channel, const AgreementRunOptions& options) {
  if (station.list) return *station.list;
  StampTableReader table(station.table);
  InstantList list =
      instants_of(table, station.name,
                  {.channel = channel, .method = options.method, .allowed_flags = options.allowed_flags});
  list.spare = spare_of(station, list);
  return list;
}

std::vector<std::pair<std::string, std::string>> pairs_of(const AgreementRunOptions& options,
                                                          const Station& first, const Station& second) {
  if (!options.pairs.empty()) return options.pairs;
  if (first.list || second.list)
    return {{first.list ? "" : first.channels.at(0), second.list ? "" : second.channels.at(0)}};
  std::vector<std::pair<std::string, std::string>> pairs;
  for (std::size_t i = 0; i < std::min(first.channels.size(), second.channels.size()); ++i)
    pairs.emplace_back(first.channels[i], second.channels[i]);
  return pairs;
}

}  // namespace

Agreement agreement_of_stations(const StationArrivals& first_arrivals, const StationArrivals& second_arrivals,
                                const AgreementRunOptions& options) {
  const Station first = open_station(first_arrivals, options.scale),
                second = open_station(second_arrivals, options.scale);
  const auto pairs = pairs_of(options, first, second);
  const auto way_of = [&](const std::string& a, const std::string& b) {
    Way way{.name = "", .first = list_of(first, a, options), .second = list_of(second, b, options)};
    way.name = fmt::format("{} to {}", way.first.name, way.second.name);
    return way;
  };
  Agreement agreement;
  for (const auto& [a, b] : pairs) agreement.ways.push_back(way_of(a, b));
  if (pairs.size() < 2 || first.list || second.list) return agreement;
  for (const auto& one : pairs) {
    for (const auto& other : pairs) {
      const std::pair crossed{one.first, other.second};
      if (std::find(pairs.begin(), pairs.end(), crossed) == pairs.end())
        agreement.crossings.push_back(way_of(crossed.first, crossed.second));
    }
  }
  return agreement;
}

}  // namespace firstedge
