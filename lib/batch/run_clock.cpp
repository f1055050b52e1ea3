#include "firstedge/batch/run_clock.hpp"

#include "firstedge/clock/stamp_edges.hpp"
#include "firstedge/io/cggtts_file.hpp"
#include "firstedge/io/second_edge_file.hpp"

#include <utility>

namespace firstedge {
namespace {

void count_lines(const SecondEdgeFile& file, TieInput& input) {
  input.good += file.edges.size();
  input.bad += file.bad;
  input.problems.insert(input.problems.end(), file.problems.begin(), file.problems.end());
}

void add_station(const std::vector<std::filesystem::path>& files, TrackInput& input) {
  std::vector<CggttsFile> read;
  std::vector<std::string> names;
  for (const auto& file : files) {
    read.push_back(read_cggtts(file));
    names.push_back(file.string());
  }
  JoinedTracks joined = join_tracks(std::move(read), names);
  input.stations.push_back(std::move(joined.station));
  input.good += joined.account.good;
  input.bad += joined.account.bad;
  input.remarks.insert(input.remarks.end(), joined.remarks.begin(), joined.remarks.end());
  input.problems.insert(input.problems.end(), joined.account.problems.begin(), joined.account.problems.end());
}

}  // namespace

TieInput tie_input_of_tables(const std::filesystem::path& edges, const std::filesystem::path& readings) {
  TieInput input;
  SecondEdgeFile file = read_second_edges(edges);
  count_lines(file, input);
  input.edges = std::move(file.edges);
  if (readings.empty()) return input;
  file = read_second_edges(readings);
  count_lines(file, input);
  for (const SecondEdge& edge : file.edges) input.readings.push_back(edge.counter);
  return input;
}

TieInput tie_input_of_stamps(const StampTableAt& table, const std::string& channel, const std::string& method,
                             const LeapSeconds& leap_seconds) {
  constexpr std::size_t block_size = 65536;
  StampTableReader reader(table);
  const std::size_t channel_number = channel_numbered(reader.head(), channel, place_of(table));
  const std::size_t method_number = method_numbered(reader.head(), method, place_of(table));
  std::vector<Stamp> chosen;
  for (std::vector<Stamp> block = reader.next_block(block_size); !block.empty();
       block = reader.next_block(block_size)) {
    for (const Stamp& stamp : block)
      if (stamp.channel == channel_number && stamp.method == method_number) chosen.push_back(stamp);
  }
  std::vector<std::pair<std::uint64_t, Instant>> triggers;
  for (const TriggerRow& row : reader.triggers()) triggers.emplace_back(row.record, row.instant);
  TieInput input;
  input.edges = edges_of_stamps(chosen, triggers, leap_seconds);
  for (const auto& [record, instant] : triggers) input.readings.push_back(reading_of(instant, leap_seconds));
  return input;
}

TrackInput tracks_of_files(const std::vector<std::vector<std::filesystem::path>>& stations) {
  TrackInput input;
  for (const auto& files : stations) add_station(files, input);
  return input;
}

}  // namespace firstedge
