#include "firstedge/io/cggtts_track.hpp"

#include "firstedge/io/cggtts_file.hpp"

#include <array>
#include <charconv>
#include <numbers>
#include <optional>
#include <span>
#include <system_error>
#include <vector>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double tenth_of_ns = 1e-10, tenth_of_ps = 1e-13;
constexpr double tenth_of_degree = std::numbers::pi / 1800;
constexpr std::int64_t mjd_of_1970 = 40587, seconds_a_day = 86400;
constexpr std::int64_t first_mjd = 44244, last_mjd = 99999;  // GPS begins; five digits end
constexpr std::size_t most_digits = 11;

template <class Number>
std::optional<Number> whole(std::string_view text, int base = 10) {
  if (text.starts_with('+')) text.remove_prefix(1);
  Number value{};
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (fault != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

std::vector<std::string_view> words_of(std::string_view line, std::size_t most) {
  std::vector<std::string_view> words;
  std::size_t at = line.find_first_not_of(' ');
  while (at != std::string_view::npos && words.size() < most) {
    const std::size_t end = line.find(' ', at);
    words.push_back(line.substr(at, end == std::string_view::npos ? end : end - at));
    at = line.find_first_not_of(' ', end);
  }
  return words;
}

// A number column: its title, unit and width in digits (over which 9s mean no value), and where it goes.
struct Column {
  const char* title;
  double unit;
  std::size_t width;
  double SatelliteTrack::*member;
};
constexpr std::array<Column, 11> columns{{
    {"ELV", tenth_of_degree, 3, &SatelliteTrack::elevation_rad},
    {"AZTH", tenth_of_degree, 4, &SatelliteTrack::azimuth_rad},
    {"REFSV", tenth_of_ns, 10, &SatelliteTrack::minus_satellite_s},
    {"SRSV", tenth_of_ps, 5, &SatelliteTrack::minus_satellite_rate},
    {"REFSYS", tenth_of_ns, 10, &SatelliteTrack::minus_system_s},
    {"SRSYS", tenth_of_ps, 5, &SatelliteTrack::minus_system_rate},
    {"DSG", tenth_of_ns, 4, &SatelliteTrack::residual_s},
    {"MDTR", tenth_of_ns, 4, &SatelliteTrack::troposphere_s},
    {"SMDT", tenth_of_ps, 3, &SatelliteTrack::troposphere_rate},
    {"MDIO", tenth_of_ns, 4, &SatelliteTrack::modelled_ionosphere_s},
    {"SMDI", tenth_of_ps, 3, &SatelliteTrack::modelled_ionosphere_rate},
}};
constexpr std::array<Column, 3> measured_columns{{
    {"MSIO", tenth_of_ns, 4, &SatelliteTrack::measured_ionosphere_s},
    {"SMSI", tenth_of_ps, 3, &SatelliteTrack::measured_ionosphere_rate},
    {"ISG", tenth_of_ns, 3, &SatelliteTrack::ionosphere_residual_s},
}};

bool has_no_value(std::string_view word, std::size_t width) {
  if (word.starts_with('+') || word.starts_with('-')) word.remove_prefix(1);
  return word.size() >= width && word.find_first_not_of('9') == std::string_view::npos;
}

// Takes the words of a line one after the other; the first that does not fit is kept as the fault.
class TrackReader {
 public:
  explicit TrackReader(std::span<const std::string_view> words) : words_(words) {}

  SatelliteTrack track(bool dual) {
    satellite();
    const std::string_view view_class = take();
    if (const auto value = whole<int>(view_class, 16); value && view_class.size() == 2)
      track_.common_view_class = *value;
    else
      complain("CL", view_class);
    start();
    track_.length_s = static_cast<double>(number<int>("TRKL", 1, 9999));
    for (std::size_t i = 0; i < 7; ++i) column(columns.at(i));
    const std::string_view issue = take();
    track_.issue_of_ephemeris = has_no_value(issue, 3) ? -1 : checked<int>("IOE", issue, 0, 4095);
    for (std::size_t i = 7; i < columns.size(); ++i) column(columns.at(i));
    if (dual)
      for (const Column& one : measured_columns) column(one);
    track_.frequency_channel = number<int>("FR", -99, 99);
    track_.receiver_channel = number<int>("HC", 0, 99);
    track_.code = take();
    if (track_.code.size() > 3) complain("FRC", track_.code);
    return track_;
  }
  const std::string& fault() const { return fault_; }

 private:
  std::string_view take() { return words_[next_++]; }

  void complain(const char* title, std::string_view word) {
    if (fault_.empty()) fault_ = fmt::format("{} is '{}'", title, word);
  }

  template <class Number>
  Number checked(const char* title, std::string_view word, Number least, Number most) {
    const auto value = whole<Number>(word);
    if (value && *value >= least && *value <= most) return *value;
    complain(title, word);
    return least;
  }
  template <class Number>
  Number number(const char* title, Number least, Number most) {
    return checked<Number>(title, take(), least, most);
  }

  void satellite() {
    const std::string_view word = take();
    constexpr std::string_view systems = "GRECJISW";
    const bool lettered = word.size() == 3 && systems.find(word[0]) != std::string_view::npos;
    const auto value = lettered ? whole<int>(word.substr(1)) : std::nullopt;
    if (!value || *value < 1) return complain("SAT", word);
    track_.satellite = {word[0], *value};
  }

  void start() {
    const auto day = number<std::int64_t>("MJD", first_mjd, last_mjd);
    const std::string_view word = take();
    const auto clock = word.size() == 6 ? whole<std::int64_t>(word) : std::nullopt;
    if (!clock || *clock < 0 || *clock >= 240000 || *clock / 100 % 100 > 59 || *clock % 100 > 59)
      return complain("STTIME", word);
    const std::int64_t second = *clock / 10000 * 3600 + *clock / 100 % 100 * 60 + *clock % 100;
    track_.start = {TimeScale::utc, (day - mjd_of_1970) * seconds_a_day + second, 0};
  }

  void column(const Column& one) {
    const std::string_view word = take();
    if (has_no_value(word, one.width)) return;
    const auto value = word.size() <= most_digits + 1 ? whole<std::int64_t>(word) : std::nullopt;
    if (!value) return complain(one.title, word);
    track_.*one.member = static_cast<double>(*value) * one.unit;
  }

  std::span<const std::string_view> words_;
  std::size_t next_ = 0;
  SatelliteTrack track_;
  std::string fault_;
};

}  // namespace

std::variant<SatelliteTrack, CggttsFault> parse_cggtts_track(std::string_view line, bool dual) {
  const std::size_t fields = dual ? 24 : 21;
  const std::vector<std::string_view> words = words_of(line, fields);
  if (words.size() < fields)
    return CggttsFault{fmt::format("has {} fields in place of {}", words.size(), fields)};
  const std::string_view sum = words.back();
  const auto before = static_cast<std::size_t>(sum.data() - line.data());
  const int found = cggtts_sum(line.substr(0, before));
  const auto stated = sum.size() == 2 ? whole<int>(sum, 16) : std::nullopt;
  if (!stated || *stated != found)
    return CggttsFault{fmt::format("has the checksum {:02X}, and says '{}'", found, sum), true};
  TrackReader reader(words);
  SatelliteTrack track = reader.track(dual);
  if (!reader.fault().empty()) return CggttsFault{reader.fault()};
  return track;
}

}  // namespace firstedge
