// One line of a track in the CGGTTS format. For cggtts_file.cpp.
#pragma once

#include "firstedge/core/satellite_track.hpp"

#include <string>
#include <string_view>
#include <variant>

namespace firstedge {

/// Why a line is no track: a part of a sentence, and whether its checksum is what is wrong.
struct CggttsFault {
  std::string problem;
  bool checksum = false;
};

/// dual: with the columns of the measured ionosphere. Text behind the checksum is a remark.
std::variant<SatelliteTrack, CggttsFault> parse_cggtts_track(std::string_view line, bool dual);

}  // namespace firstedge
