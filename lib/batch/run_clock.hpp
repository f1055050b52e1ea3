// The files' side of clocks: edges of pulses per second and readings of a counter, and stations' tracks.
#pragma once

#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/satellite_track.hpp"
#include "firstedge/core/second_edge.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace firstedge {

/// Edges with what may be tied by them, and what became of the files' lines.
struct TieInput {
  std::vector<SecondEdge> edges;
  std::vector<CounterReading> readings;
  std::vector<Error> problems;
  std::uint64_t good = 0, bad = 0;
};

/// Tables of io/second_edge_file.hpp; readings may be "". Throws Error as read_second_edges.
TieInput tie_input_of_tables(const std::filesystem::path& edges, const std::filesystem::path& readings);

/// The pulses that a channel of a stamp table recorded, and the triggers as readings, both by the digitizer's
/// own clock: the rate is 1 Hz. method: "" for the first. Throws Error for what is not in the table.
TieInput tie_input_of_stamps(const StampTableAt& table, const std::string& channel, const std::string& method,
                             const LeapSeconds& leap_seconds);

/// The tracks of some stations, and what became of the files' lines.
struct TrackInput {
  std::vector<StationTracks> stations;
  std::vector<std::string> remarks;
  std::vector<Error> problems;
  std::uint64_t good = 0, bad = 0;
};

/// The CGGTTS files of each station. Throws Error as read_cggtts and join_tracks.
TrackInput tracks_of_files(const std::vector<std::vector<std::filesystem::path>>& stations);

}  // namespace firstedge
