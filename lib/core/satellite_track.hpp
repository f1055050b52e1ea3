// SatelliteTrack: what a station's receiver found of its clock from one satellite over some minutes; and a
// station's tracks.
#pragma once

#include "firstedge/core/instant.hpp"

#include <array>
#include <compare>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

namespace firstedge {

/// A navigation satellite: the letter of its system (G GPS, R GLONASS, E Galileo, C BeiDou, J QZSS) and
/// number.
struct SatelliteId {
  char system = 'G';
  int number = 0;

  friend auto operator<=>(const SatelliteId&, const SatelliteId&) = default;
};

/// "G05".
inline std::string to_text(const SatelliteId& satellite) {
  const std::string number = std::to_string(satellite.number);
  return satellite.system + (number.size() < 2 ? "0" + number : number);
}

/// A line fitted over one track, at its middle: NaN for what is not known. A time is laboratory reference
/// less the satellite's or the system's time; delays are those modelled or measured along the way.
struct SatelliteTrack {
  static constexpr double not_known = std::numeric_limits<double>::quiet_NaN();

  SatelliteId satellite;
  int common_view_class = 0;
  Instant start;  ///< on UTC
  double length_s = 0;
  double elevation_rad = not_known, azimuth_rad = not_known;
  double minus_satellite_s = not_known, minus_satellite_rate = not_known;  ///< REFSV, SRSV
  double minus_system_s = not_known, minus_system_rate = not_known;        ///< REFSYS, SRSYS
  double residual_s = not_known;                                           ///< DSG: rms about that line
  int issue_of_ephemeris = -1;                                             ///< -1: not known
  double troposphere_s = not_known, troposphere_rate = not_known;
  double modelled_ionosphere_s = not_known, modelled_ionosphere_rate = not_known;
  double measured_ionosphere_s = not_known, measured_ionosphere_rate = not_known;
  double ionosphere_residual_s = not_known;
  int frequency_channel = 0, receiver_channel = 0;
  std::string code;  ///< of the signal or combination: "L1C", "L3P"
};

/// A delay that the station's data are already corrected for.
struct StationDelay {
  std::string what;    ///< "INT DLY", "CAB DLY", ...
  std::string signal;  ///< "GPS P1", or "" where it holds for all
  double delay_s = 0;
};

struct StationTracks {
  std::string station, receiver, reference, frame, calibration;
  std::array<double, 3> position_m{};
  std::vector<StationDelay> delays;
  std::vector<SatelliteTrack> tracks;  ///< in the order of the files
};

}  // namespace firstedge
