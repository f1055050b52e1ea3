// Reads the open CGGTTS format, version 2E: a station's clock by the tracks of navigation satellites.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/satellite_track.hpp"
#include "firstedge/io/byte_source.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// What became of the lines of tracks.
struct CggttsAccount {
  std::uint64_t good = 0, bad = 0;
  std::uint64_t bad_checksums = 0;  ///< among bad
  std::vector<Error> problems;      ///< of the first most_told bad lines
  static constexpr std::size_t most_told = 10;
};

struct CggttsFile {
  StationTracks station;
  CggttsAccount account;
  /// The header's checksum holds only if line ends are summed too, as some receivers do against the rule.
  bool header_sum_has_line_ends = false;
};

/// P. Defraigne and G. Petit, CGGTTS-Version 2E: an extended standard for GNSS time transfer, Metrologia 52
/// (2015) G1; checksums by Rapport BIPM-93/6.
///
/// Header: first line with the version, then lines KEY = value up to CKSUM. Units are turned into SI. Tracks
/// of single and dual frequency (MSIO SMSI ISG in the title line tell which); fields parted by blanks; a
/// field whose every digit is 9 over its full width has no value. A line of a track with a wrong checksum, a
/// wrong number of fields or a field that is none is left out, counted and told with its number.
///
/// Throws Error with the line for: another version, a header longer than most_header_lines, a line longer
/// than longest_cggtts_line, a header whose checksum holds neither with nor without line ends, no title line,
/// more than most_tracks, and a file without any good track. Memory: the tracks.
CggttsFile read_cggtts(ByteSource bytes);
CggttsFile read_cggtts(const std::filesystem::path& file);

inline constexpr std::size_t most_header_lines = 200;
inline constexpr std::size_t longest_cggtts_line = 1000;
inline constexpr std::size_t most_tracks = 5'000'000;  // five weeks of 100,000 a day and more

/// Sum of the bytes modulo 256.
int cggtts_sum(std::string_view text);

/// The tracks of several files as those of one station. Throws Error if the files are of two stations, or if
/// they are none; files whose receiver, reference or delays differ from the first are told in `remarks`.
struct JoinedTracks {
  StationTracks station;
  CggttsAccount account;
  std::vector<std::string> remarks;
};
JoinedTracks join_tracks(std::vector<CggttsFile> files, const std::vector<std::string>& names);

}  // namespace firstedge
