// Claims of io/cggtts_file.hpp and io/second_edge_file.hpp: units, missing values, checksums, what is kept
// and what is counted.
#include "firstedge/io/cggtts_file.hpp"
#include "firstedge/io/second_edge_file.hpp"

#include "support/reading.hpp"
#include "support/sentence_of.hpp"
#include "support/skerry_tracks.hpp"

#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

ByteSource bytes(const std::string& text) {
  const auto view = std::as_bytes(std::span(text));
  return ByteSource::from_bytes({view.begin(), view.end()}, "day.cgg");
}

// CGGTTS 2E, single frequency: columns and units as in Metrologia 52 (2015) G1.
const std::string single_titles =
    "SAT CL  MJD  STTIME TRKL ELV AZTH   REFSV      SRSV     REFSYS    SRSYS  DSG IOE MDTR SMDT MDIO SMDI FR "
    "HC "
    "FRC CK\n             hhmmss  s\n";

TEST(cggtts, a_track_is_turned_into_si_units) {
  const std::string text =
      test::cggtts_header("SKN") + test::dual_titles +
      test::with_checksum(
          "E03 FF 60258 001000 0780 139  548     +723788    +14       -302    -14   25 076 325 "
          " -36   32   -3   20  +20   3  0  0  E1 ");
  const CggttsFile file = read_cggtts(bytes(text));
  ASSERT_EQ(file.station.tracks.size(), 1U);
  const SatelliteTrack& track = file.station.tracks.front();
  EXPECT_EQ(to_text(track.satellite), "E03");
  EXPECT_EQ(track.common_view_class, 255);
  EXPECT_EQ(to_text(track.start), "2023-11-10T00:10:00.000000000000000Z");  // MJD 60258
  EXPECT_EQ(track.length_s, 780);
  EXPECT_NEAR(track.elevation_rad * 180 / std::numbers::pi, 13.9, 1e-12);
  EXPECT_NEAR(track.azimuth_rad * 180 / std::numbers::pi, 54.8, 1e-12);
  EXPECT_DOUBLE_EQ(track.minus_satellite_s, 72378.8e-9);
  EXPECT_DOUBLE_EQ(track.minus_satellite_rate, 1.4e-12);
  EXPECT_DOUBLE_EQ(track.minus_system_s, -30.2e-9);
  EXPECT_DOUBLE_EQ(track.minus_system_rate, -1.4e-12);
  EXPECT_DOUBLE_EQ(track.residual_s, 2.5e-9);
  EXPECT_EQ(track.issue_of_ephemeris, 76);
  EXPECT_DOUBLE_EQ(track.troposphere_s, 32.5e-9);
  EXPECT_DOUBLE_EQ(track.troposphere_rate, -3.6e-12);
  EXPECT_DOUBLE_EQ(track.modelled_ionosphere_s, 3.2e-9);
  EXPECT_DOUBLE_EQ(track.modelled_ionosphere_rate, -0.3e-12);
  EXPECT_DOUBLE_EQ(track.measured_ionosphere_s, 2e-9);
  EXPECT_DOUBLE_EQ(track.measured_ionosphere_rate, 2e-12);
  EXPECT_DOUBLE_EQ(track.ionosphere_residual_s, 0.3e-9);
  EXPECT_EQ(track.code, "E1");
}

TEST(cggtts, the_header_tells_station_position_and_delays) {
  const CggttsFile file = read_cggtts(
      bytes(test::cggtts_text(test::skerry_tracks({}, {"SKN"}, [](auto, auto) { return 0.0; }).front())));
  EXPECT_EQ(file.station.station, "SKN");
  EXPECT_EQ(file.station.reference, "UTC(SKN)");
  EXPECT_THAT(file.station.position_m, ElementsAre(3500000.10, -120000.20, 5300000.30));
  EXPECT_EQ(file.station.calibration, "SKERRY-1");
  ASSERT_EQ(file.station.delays.size(), 4U);
  EXPECT_EQ(file.station.delays[1].signal, "GPS P2");
  EXPECT_DOUBLE_EQ(file.station.delays[1].delay_s, -8.1e-9);
  EXPECT_DOUBLE_EQ(file.station.delays[2].delay_s, 155.5e-9);
  EXPECT_FALSE(file.header_sum_has_line_ends);
}

TEST(cggtts, fields_of_nines_have_no_value_and_single_frequency_has_no_measured_ionosphere) {
  const std::string text =
      test::cggtts_header("SKN") + single_titles +
      test::with_checksum(
          "G07 99 59568 000600 0780 999 9999 +9999999999 +99999 +9999989831   -724 9999 999 9999 "
          "+999 9999 +999 00 00 L1C ");
  const SatelliteTrack track = read_cggtts(bytes(text)).station.tracks.front();
  for (const double value :
       {track.elevation_rad, track.azimuth_rad, track.minus_satellite_s, track.minus_satellite_rate,
        track.residual_s, track.troposphere_s, track.troposphere_rate, track.modelled_ionosphere_s,
        track.modelled_ionosphere_rate, track.measured_ionosphere_s})
    EXPECT_TRUE(std::isnan(value));
  EXPECT_EQ(track.issue_of_ephemeris, -1);
  EXPECT_DOUBLE_EQ(track.minus_system_s, 0.9999989831);
  EXPECT_EQ(track.common_view_class, 0x99);
}

// The rule sums the header without line ends; some public files sum them too (one such prints CE, where the
// rule gives 38).
TEST(cggtts, both_forms_of_the_header_s_checksum_are_read) {
  const std::string line = test::cggtts_track_line(
      test::skerry_tracks({}, {"SKN"}, [](auto, auto) { return 0.0; }).front().tracks.front());
  const CggttsFile file = read_cggtts(bytes(test::cggtts_header("SKN", true) + test::dual_titles + line));
  EXPECT_TRUE(file.header_sum_has_line_ends);
}

TEST(cggtts, bad_lines_are_left_out_and_told_by_number) {
  const StationTracks station =
      test::skerry_tracks({}, {"SKN"}, [](auto, double t) { return 1e-9 * t; }).front();
  std::string text = test::cggtts_header("SKN") + test::dual_titles;
  for (std::size_t i = 0; i < 40; ++i) {
    std::string line = test::cggtts_track_line(station.tracks[i]);
    if (i == 10) line[60] = line[60] == '1' ? '2' : '1';  // one byte changed
    if (i == 20) line = line.substr(0, 70) + "\n";        // cut short
    if (i == 30) line = test::with_checksum("G01 FF 61369 257000 " + line.substr(21, line.size() - 24));
    text += line;
  }
  const CggttsFile file = read_cggtts(bytes(text));
  EXPECT_EQ(file.account.good, 37U);
  EXPECT_EQ(file.account.bad, 3U);
  EXPECT_EQ(file.account.bad_checksums, 1U);
  ASSERT_EQ(file.account.problems.size(), 3U);
  // 16 lines of header, a blank one and two of titles stand before the first track.
  EXPECT_THAT(file.account.problems[0].what(), HasSubstr("day.cgg, line 30: has the checksum"));
  EXPECT_THAT(file.account.problems[1].what(), HasSubstr("day.cgg, line 40: has "));
  EXPECT_THAT(file.account.problems[2].what(), HasSubstr("line 50: STTIME is '257000'"));
}

TEST(cggtts, what_was_written_is_read) {
  const StationTracks station =
      test::skerry_tracks({.days = 2}, {"SKN"}, [](auto, double t) { return -4e-7 + 1e-13 * t; }).front();
  // Line ends of another system change nothing.
  std::string text;
  for (const char c : test::cggtts_text(station)) text += c == '\n' ? std::string("\r\n") : std::string(1, c);
  const CggttsFile file = read_cggtts(bytes(text));
  ASSERT_EQ(file.station.tracks.size(), station.tracks.size());
  for (std::size_t i = 0; i < station.tracks.size(); ++i) {
    EXPECT_EQ(file.station.tracks[i].start, station.tracks[i].start);
    EXPECT_EQ(file.station.tracks[i].satellite, station.tracks[i].satellite);
    EXPECT_NEAR(file.station.tracks[i].minus_system_s, station.tracks[i].minus_system_s, 0.0501e-9);
  }
}

TEST(cggtts, files_of_one_station_are_joined_and_of_two_refused) {
  const auto stations = test::skerry_tracks({}, {"SKN", "SKS"}, [](auto, auto) { return 0.0; });
  const CggttsFile north = read_cggtts(bytes(test::cggtts_text(stations[0])));
  const CggttsFile south = read_cggtts(bytes(test::cggtts_text(stations[1])));
  EXPECT_EQ(join_tracks({north, north}, {"a", "b"}).station.tracks.size(), 2 * stations[0].tracks.size());
  CggttsFile moved = north;
  moved.station.delays[2].delay_s += 1e-9;
  EXPECT_THAT(join_tracks({north, moved}, {"a", "b"}).remarks,
              ElementsAre(HasSubstr("b: receiver, reference or delays differ from those in a")));
  EXPECT_THAT(test::sentence_of([&] {
                join_tracks({north, south}, {"a", "b"});
              }),
              HasSubstr("b: is of station 'SKS', not of 'SKN'"));
}

TEST(second_edge_file, counters_are_read_exactly) {
  const SecondEdgeFile file = read_second_edges(
      bytes("# Skerry\ncorrection,counter,second\n-12.5 ns,4000000000000000001.25,2026-11-25T06:37:00Z\n,7,\n"
            "1e-9,-1.25,\n"));
  ASSERT_EQ(file.edges.size(), 3U);
  EXPECT_EQ(file.edges[0].counter.ticks, 4000000000000000001);
  EXPECT_EQ(file.edges[0].counter.fraction, 0.25);
  EXPECT_DOUBLE_EQ(file.edges[0].correction_s, -12.5e-9);
  EXPECT_EQ(file.edges[0].label->seconds, 1795588620);
  EXPECT_TRUE(std::isnan(file.edges[1].correction_s));
  EXPECT_FALSE(file.edges[1].label.has_value());
  EXPECT_EQ(file.edges[2].counter.ticks, -2);
  EXPECT_EQ(file.edges[2].counter.fraction, 0.75);
}

TEST(second_edge_file, bad_lines_are_left_out_and_told_by_number) {
  const SecondEdgeFile file =
      read_second_edges(bytes("counter,second\n1,\nx,\n2\n3,yesterday\n4,,5\n9e9,\n5.5,\n"));
  EXPECT_EQ(file.edges.size(), 2U);
  EXPECT_EQ(file.bad, 5U);
  EXPECT_THAT(file.problems.front().what(), HasSubstr("day.cgg, line 3: 'x' is no counter reading"));
}

}  // namespace
}  // namespace firstedge
