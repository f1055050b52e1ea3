// Invented stations of the Skerry test line: their tracks of invented satellites with known clocks, and as
// text in the CGGTTS format with checksums of its own.
#pragma once

#include "firstedge/clock/track_schedule.hpp"
#include "firstedge/core/satellite_track.hpp"

#include "support/random.hpp"

#include <cmath>
#include <functional>
#include <numbers>
#include <string>
#include <string_view>
#include <vector>

#include <fmt/format.h>

namespace firstedge::test {

struct SkerryPlan {
  std::int64_t first_day = 61369;  ///< 2026-11-25
  std::size_t days = 1;
  std::size_t satellites = 24;
  double noise_s = 2e-9;         ///< of one track at one station
  double satellite_error_s = 0;  ///< common to both stations, drawn for each track
  double seen = 0.35;            ///< share of the satellites that a station sees
  bool same_sky = true;          ///< all stations see the same satellites
  std::uint64_t seed = 1;
};

/// Station k's clock less system time, in s, at t seconds after the first day's midnight.
using ClockOf = std::function<double(std::size_t station, double t)>;

inline std::vector<StationTracks> skerry_tracks(const SkerryPlan& plan, const std::vector<std::string>& names,
                                                const ClockOf& clock) {
  std::vector<StationTracks> stations(names.size());
  for (std::size_t k = 0; k < names.size(); ++k) {
    stations[k].station = names[k];
    stations[k].receiver = "INVENTED";
    stations[k].reference = "UTC(" + names[k] + ")";
    stations[k].delays = {{"INT DLY", "GPS P1", 32.9e-9}, {"CAB DLY", "", 155.5e-9}};
  }
  Random random(plan.seed);
  for (std::size_t day = 0; day < plan.days; ++day) {
    const std::int64_t mjd = plan.first_day + static_cast<std::int64_t>(day);
    for (const std::int64_t start : track_starts(mjd)) {
      for (std::size_t number = 1; number <= plan.satellites; ++number) {
        const bool for_all = random.uniform(0, 1) < plan.seen;
        const double error_s = random.normal(0, 1) * plan.satellite_error_s;
        for (std::size_t k = 0; k < names.size(); ++k) {
          const bool alone = random.uniform(0, 1) < plan.seen;
          SatelliteTrack track;
          track.satellite = {'G', static_cast<int>(number)};
          track.common_view_class = 0xFF;
          track.start = {TimeScale::utc, (mjd - 40587) * 86400 + start, 0};
          track.length_s = 780;
          track.elevation_rad = random.uniform(15, 85) * std::numbers::pi / 180;
          track.azimuth_rad = random.uniform(0, 360) * std::numbers::pi / 180;
          track.residual_s = plan.noise_s * random.uniform(0.7, 1.4);
          const double middle = static_cast<double>(start) + 390 + 86400.0 * static_cast<double>(day);
          const double noise_s = random.normal(0, track.residual_s);
          track.minus_system_s = clock(k, middle) + error_s + noise_s;
          track.minus_system_rate = 0;
          track.code = "L3P";
          if (plan.same_sky ? for_all : alone) stations[k].tracks.push_back(track);
        }
      }
    }
  }
  return stations;
}

// The rule, apart from the library's: bytes summed, two upper-case digits.
inline std::string checksum_of(std::string_view text) {
  unsigned sum = 0;
  for (const char c : text) sum = (sum + static_cast<unsigned char>(c)) & 0xFFU;
  return fmt::format("{:02X}", sum);
}

inline std::string with_checksum(const std::string& line) {
  return line + checksum_of(line) + "\n";
}

inline std::string cggtts_track_line(const SatelliteTrack& track) {
  const std::int64_t second = track.start.seconds % 86400;
  const auto tenths = [](double value, double unit) { return std::llround(value / unit); };
  return with_checksum(fmt::format(
      "{} {:02X} {:5d} {:02d}{:02d}{:02d} {:04.0f} {:3d} {:4d} {:+11d} {:+6d} {:+11d} {:+6d} {:4d} {:03d} "
      "{:4d} "
      "{:+4d} {:4d} {:+4d} {:4d} {:+4d} {:3d} {:2d} {:2d} {:>3} ",
      to_text(track.satellite), track.common_view_class, track.start.seconds / 86400 + 40587, second / 3600,
      second / 60 % 60, second % 60, track.length_s, tenths(track.elevation_rad, std::numbers::pi / 1800),
      tenths(track.azimuth_rad, std::numbers::pi / 1800), 1234567, 12, tenths(track.minus_system_s, 1e-10), 0,
      tenths(track.residual_s, 1e-10), 7, 71, 2, 33, -4, 34, 5, 6, 0, 0, track.code));
}

inline const std::string dual_titles =
    "SAT CL  MJD  STTIME TRKL ELV AZTH   REFSV      SRSV     REFSYS    SRSYS  DSG IOE MDTR SMDT MDIO SMDI "
    "MSIO "
    "SMSI ISG FR HC FRC CK\n"
    "             hhmmss  s  .1dg .1dg    .1ns     .1ps/s     .1ns    .1ps/s .1ns     "
    ".1ns.1ps/s.1ns.1ps/s.1ns"
    ".1ps/s.1ns            \n";

inline std::string cggtts_header(const std::string& station, bool sum_line_ends = false) {
  const std::vector<std::string> lines{"CGGTTS     GENERIC DATA FORMAT VERSION = 2E",
                                       "REV DATE = 2026-01-01",
                                       "RCVR = INVENTED R1 0001 2026",
                                       "CH = 32",
                                       "IMS = INVENTED R1 0001 2026",
                                       "LAB = " + station,
                                       "X = +3500000.10 m",
                                       "Y = -120000.20 m",
                                       "Z = +5300000.30 m",
                                       "FRAME = ITRF",
                                       "COMMENTS = INVENTED",
                                       "INT DLY = 32.9 ns (GPS P1), -8.1 ns (GPS P2)     CAL_ID = SKERRY-1",
                                       "CAB DLY = 155.5 ns",
                                       "REF DLY = 10.0 ns",
                                       "REF = UTC(" + station + ")",
                                       "CKSUM = "};
  std::string summed, text;
  for (const std::string& line : lines) {
    const bool last = line == lines.back();
    summed += line + (sum_line_ends && !last ? "\n" : "");
    text += line + (last ? "" : "\n");
  }
  return text + checksum_of(summed) + "\n\n";
}

inline std::string cggtts_text(const StationTracks& station) {
  std::string text = cggtts_header(station.station) + dual_titles;
  for (const SatelliteTrack& track : station.tracks) text += cggtts_track_line(track);
  return text;
}

}  // namespace firstedge::test
