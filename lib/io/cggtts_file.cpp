#include "firstedge/io/cggtts_file.hpp"

#include "firstedge/io/cggtts_track.hpp"
#include "firstedge/io/text_numbers.hpp"
#include "firstedge/io/text_source.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <optional>
#include <string>
#include <system_error>
#include <utility>
#include <variant>

#include <fmt/format.h>

namespace firstedge {
namespace {

// The first number in a text, and the text behind it.
std::optional<double> number_in(std::string_view text) {
  text = without_blanks(text);
  const LeadingNumber number = leading_number(text, '.');
  if (number.length == 0 || !number.in_range || !std::isfinite(number.value)) return std::nullopt;
  return number.value;
}

class Reader {
 public:
  explicit Reader(ByteSource bytes) : text_(std::move(bytes)) {}

  CggttsFile read() {
    read_version();
    read_header();
    const bool dual = read_titles();
    while (const auto line = next()) add_track(*line, dual);
    if (file_.account.good == 0)
      throw Error(text_.name(), fmt::format("has no good track among {} lines", file_.account.bad),
                  "give a whole CGGTTS file of version 2E");
    return std::move(file_);
  }

 private:
  std::optional<std::string_view> next() {
    const auto line = text_.next_line();
    if (line && line->size() > longest_cggtts_line)
      refuse(fmt::format("is {} bytes long", line->size()), "lines of this format have at most 128");
    return line;
  }

  [[noreturn]] void refuse(const std::string& problem, const std::string& remedy) const {
    throw Error(text_.place(), problem, remedy);
  }

  void sum_up(std::string_view line) {
    sum_ += cggtts_sum(line);
    ++line_ends_;
  }

  void read_version() {
    const auto line = next();
    if (!line || !line->starts_with("CGGTTS"))
      throw Error(text_.name(), "does not begin with a line CGGTTS", "give a CGGTTS file of version 2E");
    const std::size_t equals = line->find('=');
    const std::string_view version =
        equals == std::string_view::npos ? "" : without_blanks(line->substr(equals + 1));
    if (version != "2E")
      refuse(fmt::format("is of version '{}'", version), "give a CGGTTS file of version 2E");
    sum_up(*line);
  }

  void read_header() {
    for (std::size_t lines = 0; lines < most_header_lines; ++lines) {
      const auto line = next();
      if (!line) refuse("ends inside its header", "give a whole file");
      const std::size_t equals = line->find('=');
      const std::string_view key = without_blanks(line->substr(0, equals));
      const std::string_view value =
          equals == std::string_view::npos ? "" : without_blanks(line->substr(equals + 1));
      if (key == "CKSUM") return check_header(*line, value);
      sum_up(*line);
      keep(key, value);
    }
    refuse(fmt::format("has {} lines of header and no CKSUM", most_header_lines), "give a whole file");
  }

  // The sum ends with the blank before the checksum.
  void check_header(std::string_view line, std::string_view stated) {
    const std::size_t equals = std::min(line.find('='), line.size() - 1);
    const std::size_t before = std::min(line.find_first_not_of(" \t", equals + 1), line.size());
    const int bare = (sum_ + cggtts_sum(line.substr(0, before))) % 256;
    const int with_line_ends = (bare + '\n' * line_ends_) % 256;
    const std::string_view word = stated.substr(0, stated.find(' '));
    int value = -1;
    const auto [end, fault] = std::from_chars(word.data(), word.data() + word.size(), value, 16);
    const bool good = word.size() == 2 && fault == std::errc() && end == word.data() + word.size();
    if (!good || (value != bare && value != with_line_ends))
      refuse(fmt::format("the header has the checksum {:02X} ({:02X} with line ends), and says '{}'", bare,
                         with_line_ends, word),
             "fetch the file again: its header is damaged");
    file_.header_sum_has_line_ends = value != bare;
  }

  void keep(std::string_view key, std::string_view value) {
    StationTracks& station = file_.station;
    if (key == "LAB") station.station = value;
    if (key == "RCVR") station.receiver = value;
    if (key == "REF") station.reference = value;
    if (key == "FRAME") station.frame = value;
    if (key.size() == 1 && key[0] >= 'X' && key[0] <= 'Z')
      station.position_m.at(static_cast<std::size_t>(key[0] - 'X')) = number_or_refuse(key, value);
    if (key == "CAB DLY" || key == "REF DLY")
      station.delays.push_back({std::string(key), "", 1e-9 * number_or_refuse(key, value)});
    if (key == "INT DLY" || key == "SYS DLY" || key == "TOT DLY") keep_delays(key, value);
  }

  double number_or_refuse(std::string_view key, std::string_view value) const {
    const auto number = number_in(value);
    if (!number) refuse(fmt::format("{} is '{}'", key, value), "give a number with its unit");
    return *number;
  }

  // "53.9 ns (GPS P1), 49.8 ns (GPS P2)     CAL_ID = 1017-2015"
  void keep_delays(std::string_view key, std::string_view value) {
    const std::size_t calibration = value.find("CAL_ID");
    if (calibration != std::string_view::npos) {
      const std::string_view rest = value.substr(calibration);
      const std::size_t equals = rest.find('=');
      if (equals != std::string_view::npos)
        file_.station.calibration = without_blanks(rest.substr(equals + 1));
      value = value.substr(0, calibration);
    }
    FieldCursor fields(value, ',');
    while (const auto field = fields.next()) {
      const std::string_view part = without_blanks(field->text);
      if (part.empty()) continue;
      const std::size_t open = part.find('('), close = part.find(')');
      const bool named = open != std::string_view::npos && close != std::string_view::npos && open < close;
      file_.station.delays.push_back({std::string(key),
                                      std::string(named ? part.substr(open + 1, close - open - 1) : ""),
                                      1e-9 * number_or_refuse(key, part)});
    }
  }

  // A blank line, the titles, the units.
  bool read_titles() {
    for (std::size_t lines = 0; lines < 5; ++lines) {
      const auto line = next();
      if (!line) break;
      if (!line->starts_with("SAT")) continue;
      const bool dual = line->find("MSIO") != std::string_view::npos;
      if (!next()) break;
      return dual;
    }
    refuse("lacks the line of titles that begins with SAT", "give a whole file");
  }

  void add_track(std::string_view line, bool dual) {
    if (without_blanks(line).empty()) return;
    auto parsed = parse_cggtts_track(line, dual);
    CggttsAccount& account = file_.account;
    if (auto* track = std::get_if<SatelliteTrack>(&parsed)) {
      if (file_.station.tracks.size() == most_tracks)
        refuse(fmt::format("is the {}th track", most_tracks + 1), "give the files of some weeks at a time");
      file_.station.tracks.push_back(std::move(*track));
      ++account.good;
      return;
    }
    const auto& fault = std::get<CggttsFault>(parsed);
    ++account.bad;
    account.bad_checksums += fault.checksum ? 1 : 0;
    if (account.problems.size() < CggttsAccount::most_told)
      account.problems.emplace_back(text_.place(), fault.problem, "the line is left out");
  }

  TextSource text_;
  CggttsFile file_;
  int sum_ = 0, line_ends_ = 0;
};

bool same_setting(const StationTracks& a, const StationTracks& b) {
  const auto same_delay = [](const StationDelay& one, const StationDelay& other) {
    return one.what == other.what && one.signal == other.signal && one.delay_s == other.delay_s;
  };
  return a.receiver == b.receiver && a.reference == b.reference && a.calibration == b.calibration &&
         std::equal(a.delays.begin(), a.delays.end(), b.delays.begin(), b.delays.end(), same_delay);
}

}  // namespace

int cggtts_sum(std::string_view text) {
  unsigned sum = 0;
  for (const char c : text) sum += static_cast<unsigned char>(c);
  return static_cast<int>(sum % 256);
}

CggttsFile read_cggtts(ByteSource bytes) {
  return Reader(std::move(bytes)).read();
}

CggttsFile read_cggtts(const std::filesystem::path& file) {
  return read_cggtts(ByteSource::from_file(file));
}

JoinedTracks join_tracks(std::vector<CggttsFile> files, const std::vector<std::string>& names) {
  if (files.empty()) throw Error("CGGTTS", "no file is given", "give at least one for each station");
  JoinedTracks joined;
  joined.station = files.front().station;
  joined.station.tracks.clear();
  for (std::size_t i = 0; i < files.size(); ++i) {
    CggttsFile& file = files[i];
    if (file.station.station != joined.station.station)
      throw Error(
          names.at(i),
          fmt::format("is of station '{}', not of '{}'", file.station.station, joined.station.station),
          "give the files of one station together");
    if (!same_setting(file.station, joined.station))
      joined.remarks.push_back(fmt::format("{}: receiver, reference or delays differ from those in {}",
                                           names.at(i), names.front()));
    if (file.header_sum_has_line_ends)
      joined.remarks.push_back(fmt::format("{}: the header's checksum counts line ends", names.at(i)));
    auto& all = joined.station.tracks;
    all.insert(all.end(), file.station.tracks.begin(), file.station.tracks.end());
    joined.account.good += file.account.good;
    joined.account.bad += file.account.bad;
    joined.account.bad_checksums += file.account.bad_checksums;
    for (Error& problem : file.account.problems)
      if (joined.account.problems.size() < CggttsAccount::most_told)
        joined.account.problems.push_back(std::move(problem));
  }
  return joined;
}

}  // namespace firstedge
