#include "firstedge/clock/station_comparison_parts.hpp"

#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double number(std::uint64_t count) {
  return static_cast<double>(count);
}

std::string words_of_delays(const StationTracks& station) {
  std::string words;
  for (const StationDelay& delay : station.delays) {
    words += fmt::format("{}{}{}{} {}", words.empty() ? "" : ", ", delay.what,
                         delay.signal.empty() ? "" : " ", delay.signal, format_quantity(delay.delay_s, "s"));
  }
  return words;
}

}  // namespace

Table stations_table(const std::vector<StationTracks>& stations) {
  Table table{.key = "stations",
              .title = "Stations",
              .note = "As their files say. The tracks are already corrected for these delays.",
              .columns = {{"station", "Station", ""},
                          {"reference", "Reference", ""},
                          {"receiver", "Receiver", ""},
                          {"delays", "Delays", ""},
                          {"calibration", "Calibration", ""},
                          {"tracks", "Tracks", ""}}};
  for (const StationTracks& station : stations)
    table.rows.push_back(Row{station.station, station.reference, station.receiver, words_of_delays(station),
                             station.calibration, number(station.tracks.size())});
  return table;
}

Table links_table(const std::vector<ComparedLink>& links) {
  Table table{.key = "links",
              .title = "Difference of the clocks",
              .note =
                  "Offset at the middle of the run and rate by a straight line, with uncertainties that hold "
                  "for white "
                  "noise; type A is the largest time deviation up to a quarter of the run, which slow errors "
                  "enter as "
                  "well. Scale: scatter within a start of tracks over what the tracks' own residuals expect.",
              .columns = {{"way", "Compared", ""},
                          {"signal", "Signal", ""},
                          {"points", "Starts of tracks", ""},
                          {"offset", "Offset", "s"},
                          {"rate", "Rate", ""},
                          {"residual", "About the line", "s"},
                          {"type_a", "Type A", "s"},
                          {"scale", "Scale", ""}}};
  for (const auto& [way, link, course] : links)
    table.rows.push_back(Row{way, link.system + " " + link.code, number(link.points.size()), course.offset_s,
                             course.rate, course.residual_deviation_s, course.type_a_s, link.scale});
  return table;
}

Table tracks_table(const std::vector<ComparedLink>& links) {
  Table table{
      .key = "tracks",
      .title = "What became of the tracks",
      .note =
          "Alone: the other station has no such track. Wild: too far from the others of its start. Every "
          "track is counted once.",
      .columns = {{"way", "Compared", ""},
                  {"station", "Station", ""},
                  {"given", "Given", ""},
                  {"used", "Used", ""},
                  {"wild", "Wild", ""},
                  {"alone", "Alone", ""},
                  {"other_signal", "Other signal", ""},
                  {"low", "Low", ""},
                  {"short", "Short", ""},
                  {"without_value", "Without value", ""},
                  {"repeated", "Repeated", ""}}};
  for (const auto& [way, link, course] : links) {
    for (const auto& [name, account] :
         {std::pair{link.first, link.first_account}, std::pair{link.second, link.second_account}})
      table.rows.push_back(Row{way, name, number(account.given), number(account.used), number(account.wild),
                               number(account.alone), number(account.other_signal), number(account.low),
                               number(account.short_track), number(account.without_value),
                               number(account.repeated)});
  }
  return table;
}

Table satellites_table(const StationLink& link) {
  Table table{
      .key = "satellites",
      .title = "Satellites beside one another",
      .note =
          "Mean of a satellite's differences less the mean of all at the same start. A mean far from 0 in "
          "units of its uncertainty is an error that this satellite keeps: its path past an obstacle, or "
          "a receiver's channel.",
      .columns = {{"satellite", "Satellite", ""},
                  {"tracks", "Tracks", ""},
                  {"residual", "Mean residual", "s"},
                  {"deviation", "Standard deviation", "s"}}};
  for (const SatelliteShare& share : link.satellites)
    table.rows.push_back(
        Row{to_text(share.satellite), number(share.tracks), share.residual_s, share.deviation_s});
  return table;
}

Table time_deviation_table(const std::vector<ComparedLink>& links) {
  Table table{.key = "time_deviations",
              .title = "Time deviation of the link",
              .note =
                  "Of the points, the straight line taken out, on a grid of 960 s. Intervals hold the truth "
                  "in 68.3 % "
                  "of cases, by the noise type at that averaging time; neighbouring rows share data.",
              .columns = {{"way", "Compared", ""},
                          {"averaging_time", "Averaging time", "s"},
                          {"deviation", "Time deviation", "s"},
                          {"low", "from", "s"},
                          {"high", "to", "s"},
                          {"terms", "Terms", ""},
                          {"noise", "Noise", ""}}};
  for (const auto& [way, link, course] : links) {
    for (const auto& [point, noise, freedom, interval] : course.time_deviation)
      table.rows.push_back(Row{way, point.averaging_time_s, point.deviation, interval.low, interval.high,
                               number(point.terms), std::string(noise ? words_of(*noise) : "not known")});
  }
  return table;
}

Table closure_table(const std::vector<StationLink>& links, const LinkClosure& sum) {
  Table table{
      .key = "closure",
      .title = "Closure over three stations",
      .note =
          "The three differences in common view, added up at the same starts: 0 but for satellites that not "
          "all three share. Wrong delays of a station cancel here and cannot be seen.",
      .columns = {{"sum", "Sum", ""},
                  {"points", "Starts of tracks", ""},
                  {"mean", "Mean", "s"},
                  {"deviation", "Standard deviation", "s"}}};
  std::string words;
  for (const StationLink& link : links)
    words += fmt::format("{}({} − {})", words.empty() ? "" : " + ", link.first, link.second);
  table.rows.push_back(Row{words, number(sum.points.size()),
                           sum.points.empty() ? Estimate{nan, nan} : sum.mean_s, sum.deviation_s});
  return table;
}

}  // namespace firstedge
