// Claims of the text and JSON reports, of the words in them and of writing files whole.
#include "firstedge/core/error.hpp"
#include "firstedge/report/report.hpp"
#include "firstedge/report/shown_table.hpp"
#include "firstedge/report/words.hpp"

#include <cmath>
#include <csignal>
#include <fstream>
#include <limits>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

namespace firstedge {
namespace {

namespace fs = std::filesystem;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

Result small_result() {
  Result result{
      .kind = "jitter", .title = "Jitter of A and B", .answer = "B comes (123.5 ± 1.7) ps after A."};
  result.figures = {{"delay", "Delay of B", {.value = 1.23456e-10, .uncertainty = 1.7e-12}, "s"},
                    {"pairs", "Pairs", {.value = 1234567, .uncertainty = -1}, ""}};
  result.tables.push_back(
      {.key = "pairs",
       .title = "By method",
       .note = "Bound: Cramer-Rao.",
       .columns = {{"method", "Method", ""}, {"spread", "Spread", "s"}, {"n", "Used", ""}},
       .rows = {{"leading edge", Estimate{4.13e-11, 5.2e-13}, 998.0},
                {"constant fraction", Estimate{2.9e-11, 1.2e-12}, 1000.0},
                {"template µ", nan, 12.0}}});
  result.warnings = {"Channel B is clipped in 3 records."};
  result.cautions = {"The bound holds for white noise."};
  return result;
}

TEST(text, gives_the_answer_first_then_figures_then_tables_and_what_to_be_careful_about_last) {
  EXPECT_EQ(to_text(small_result()), R"(Jitter of A and B
B comes (123.5 ± 1.7) ps after A.

  Delay of B  (123.5 ± 1.7) ps
  Pairs       1234567

By method
  Method                   Spread  Used
                             (ps)
  -------------------------------------
  leading edge       41.30 ± 0.52   998
  constant fraction  29.0  ± 1.2   1000
  template µ                    -    12
  Bound: Cramer-Rao.

Cautions
  - The bound holds for white noise.

WARNINGS
  ! Channel B is clipped in 3 records.
)");
}

TEST(text, keeps_within_100_columns_and_cuts_nothing) {
  Result result = small_result();
  result.answer.clear();
  for (int word = 0; word < 60; ++word) result.answer += "word" + std::to_string(word) + " ";
  result.figures[0].label = std::string(150, 'L') + "end";
  Table wide{.key = "wide", .title = "Wide"};
  std::vector<Table::Cell> row;
  for (int column = 0; column < 14; ++column) {
    wide.columns.push_back({"c", "Column number " + std::to_string(column), "V"});
    row.emplace_back(Estimate{0.1 * column + 0.01, 1e-4});
  }
  row[0] = std::string("a channel name of ") + std::string(120, 'x') + "tail";
  wide.rows = {row, row};
  result.tables.push_back(wide);
  result.provenance.command = "firstedge-jitter " + std::string(300, 'q');
  const std::string text = to_text(result);
  std::istringstream lines(text);
  std::string together;
  for (std::string line; std::getline(lines, line);) {
    EXPECT_LE(shown_width(line), 100U) << line;
    for (const char c : line) together += c == ' ' ? "" : std::string(1, c);
  }
  for (int word = 0; word < 60; ++word) EXPECT_THAT(text, HasSubstr("word" + std::to_string(word)));
  EXPECT_EQ(std::count(text.begin(), text.end(), 'L'), 150);
  EXPECT_EQ(std::count(text.begin(), text.end(), 'q'), 300);
  EXPECT_THAT(together, HasSubstr("tail"));
  for (const char* number :
       {"0.11000 ± 0.00010", "0.91000 ± 0.00010", "1.01000 ± 0.00010", "1.31000 ± 0.00010"})
    EXPECT_THAT(text, HasSubstr(number));
}

TEST(words, are_measured_as_a_terminal_shows_them) {
  EXPECT_EQ(shown_width("µ ± Ω"), 5U);
  EXPECT_EQ(shown_width("e\u0301"), 1U);  // a combining accent
  EXPECT_EQ(shown_width("時刻"), 4U);
  EXPECT_THAT(wrapped("aa bb cccccc", 5), ElementsAre("aa bb", "ccccc", "c"));
  EXPECT_THAT(wrapped("", 5), ElementsAre(""));
  EXPECT_THAT(wrapped("時刻時刻", 5), ElementsAre("時刻", "時刻"));
}

TEST(words, from_a_file_move_no_cursor_and_are_valid_utf8) {
  EXPECT_EQ(clean_words("a\x1b[31mb\r\nc\td"), "a?[31mb c d");
  EXPECT_EQ(clean_words("\xff\xc0\xaf\xed\xa0\x80"),
            "\uFFFD\uFFFD\uFFFD\uFFFD\uFFFD\uFFFD");  // RFC 3629, section 3
  EXPECT_EQ(clean_words("a\u202Eb\u2028"), "a\uFFFDb\uFFFD");
  EXPECT_EQ(clean_words("\u009b31m"), "?31m");  // the one-letter form of ESC [
  EXPECT_EQ(clean_lines("{\r\n\t1\n}"), "{\n 1\n}");
  EXPECT_EQ(clean_words("\xc2"), "\uFFFD");
}

TEST(table, numbers_of_one_column_share_a_prefix_and_lose_no_small_neighbour) {
  const auto column = [](const std::string& unit, std::vector<Table::Cell> cells) {
    Table table{.columns = {{"k", "L", unit}}};
    for (auto& cell : cells) table.rows.push_back({cell});
    return shown_columns(table).at(0);
  };
  const auto number = [](const ShownCell& cell) {
    return cell.words + cell.value.whole + cell.value.fraction;
  };

  const ShownColumn times = column("s", {8e-10, 3.5e-11, -1.25e-9, nan});
  EXPECT_EQ(times.unit, "ns");
  EXPECT_EQ(number(times.cells[0]), "0.800");
  EXPECT_EQ(number(times.cells[1]), "0.035");
  EXPECT_EQ(number(times.cells[2]), "-1.250");
  EXPECT_EQ(number(times.cells[3]), "-");

  const ShownColumn mixed = column("s", {2.0, 3e-12});  // twelve decades: each its own prefix
  EXPECT_EQ(mixed.unit, "");
  EXPECT_EQ(number(mixed.cells[0]), "2 s");
  EXPECT_EQ(number(mixed.cells[1]), "3 ps");

  const ShownColumn density = column("V^2/Hz", {3.2e-15, 4e-16});
  EXPECT_EQ(density.unit, "10⁻¹⁵ V²/Hz");
  EXPECT_EQ(number(density.cells[0]), "3.2");
  EXPECT_EQ(number(density.cells[1]), "0.4");

  const ShownColumn counts = column("", {1234567.0, 3.0, 0.0});
  EXPECT_EQ(number(counts.cells[0]), "1234567");

  // Shares: a tiny one needs no decimals of its own; values close together keep what tells them apart.
  const ShownColumn shares = column("%", {50.61234, 0.0004398});
  EXPECT_EQ(number(shares.cells[0]), "50.61");
  EXPECT_EQ(number(shares.cells[1]), "0.00");
  const ShownColumn close = column("s", {100.012e-9, 100.034e-9});
  EXPECT_EQ(number(close.cells[0]), "100.012");
  EXPECT_EQ(number(close.cells[1]), "100.034");
  EXPECT_EQ(number(column("", {1.38842, 2.5}).cells[0]), "1.388");

  const ShownColumn zero = column("s", {0.0, 0.0});
  EXPECT_EQ(number(zero.cells[0]), "0");

  const ShownColumn around_zero = column("s", {Estimate{0, 2e-12}, Estimate{-1e-14, 2e-12}});
  EXPECT_EQ(around_zero.unit, "ps");
  EXPECT_EQ(number(around_zero.cells[0]), "0.0");
  EXPECT_EQ(number(around_zero.cells[1]), "0.0");
  EXPECT_EQ(around_zero.cells[1].uncertainty.whole + around_zero.cells[1].uncertainty.fraction, "2.0");
}

TEST(table, columns_of_one_unit_beside_each_other_share_a_prefix) {
  const auto units = [](const std::vector<std::pair<std::string, double>>& columns) {
    Table table{.rows = {{}}};
    for (const auto& [unit, value] : columns) {
      table.columns.push_back({"k", "L", unit});
      table.rows[0].emplace_back(value);
    }
    std::vector<std::string> found;
    for (const ShownColumn& column : shown_columns(table)) found.push_back(column.unit);
    return found;
  };
  // An estimate of 1.1 ns from 950 ps to 1.3 ns, behind an averaging time that is far from them.
  EXPECT_THAT(units({{"s", 960}, {"s", 1.1e-9}, {"s", 950e-12}, {"s", 1.3e-9}}),
              ElementsAre("s", "ns", "ns", "ns"));
  // 2 ns are nothing to be said in µs, but 1,200 ns can be said; 12,000 ns and a millionth of a second
  // cannot.
  EXPECT_THAT(units({{"s", 2e-9}, {"s", 1.2e-6}}), ElementsAre("ns", "ns"));
  EXPECT_THAT(units({{"s", 2e-9}, {"s", 12e-6}}), ElementsAre("ns", "µs"));
  // Other units between them, or none, part them.
  EXPECT_THAT(units({{"s", 2e-9}, {"V", 0.3}, {"s", 500e-12}, {"", 3}, {"s", 2e-9}}),
              ElementsAre("ns", "mV", "ps", "", "ns"));
  // Zeros and dashes are in the unit of the nearest.
  EXPECT_THAT(units({{"s", 0}, {"s", 2e-9}, {"s", nan}, {"s", 950e-12}}),
              ElementsAre("ns", "ns", "ns", "ns"));
  EXPECT_THAT(units({{"s", 2e-12}, {"", 1}, {"s", 0}, {"V", 0.1}, {"s", 3}}),
              ElementsAre("ps", "", "ps", "mV", "s"));
  EXPECT_THAT(units({{"s", 0}}), ElementsAre("s"));
}

TEST(table, with_ragged_rows_shows_every_cell) {
  const Table table{.columns = {{"a", "A", ""}}, .rows = {{"x", "beyond"}, {}}};
  const auto columns = shown_columns(table);
  ASSERT_EQ(columns.size(), 2U);
  EXPECT_EQ(columns[1].cells[0].words, "beyond");
  EXPECT_EQ(columns[0].cells[1].words, "-");
}

TEST(json, keeps_every_digit_in_si_and_gives_null_for_what_is_no_number) {
  Result result = small_result();
  const double odd = 1.2345678901234567e-10;
  result.figures[0].estimate.value = odd;
  result.plots.push_back({.key = "h", .title = "H", .x = {"Time", "s"}, .y = {"Pairs", "", true}});
  result.plots[0].series.push_back({.label = "all",
                                    .kind = Series::Kind::steps,
                                    .x = {1e-12, 2e-12},
                                    .y = {nan, std::numeric_limits<double>::infinity()}});
  result.tables.push_back(result.tables[0]);  // a key given twice loses nothing
  const std::string text = to_json(result);
  const auto json = nlohmann::json::parse(text);
  EXPECT_EQ(json["layout"], "firstedge result 1");
  EXPECT_EQ(json["figures"]["delay"]["value"].get<double>(), odd);
  EXPECT_TRUE(json["figures"]["delay"]["degrees_of_freedom"].is_null());
  EXPECT_TRUE(json["figures"]["pairs"]["uncertainty"].is_null());
  EXPECT_EQ(json["tables"]["pairs"]["rows"][0][1]["value"].get<double>(), 4.13e-11);
  EXPECT_TRUE(json["tables"]["pairs"]["rows"][2][1].is_null());
  EXPECT_TRUE(json["tables"].contains("pairs_2"));
  EXPECT_EQ(json["plots"]["h"]["series"][0]["kind"], "steps");
  EXPECT_TRUE(json["plots"]["h"]["series"][0]["y"][0].is_null());
  EXPECT_TRUE(json["plots"]["h"]["series"][0]["y"][1].is_null());
  EXPECT_TRUE(
      text.starts_with("{\n \"layout\": \"firstedge result 1\",\n \"kind\": \"jitter\",\n \"title\""));
  EXPECT_EQ(text, to_json(result));
}

TEST(json, of_a_name_that_is_no_utf8_can_still_be_read) {
  Result result = small_result();
  result.figures[0].label = "a\xff";
  result.figures[0].key = "k\xff";
  const auto json = nlohmann::json::parse(to_json(result));
  EXPECT_EQ(json["figures"]["k\uFFFD"]["label"], "a\uFFFD");
}

class Folder : public testing::Test {
 protected:
  Folder() : path_(fs::temp_directory_path() / ("firstedge_report_" + std::to_string(::getpid()))) {
    fs::create_directories(path_);
  }
  ~Folder() override { fs::remove_all(path_); }
  std::vector<std::string> names() const {
    std::vector<std::string> names;
    for (const auto& entry : fs::directory_iterator(path_)) names.push_back(entry.path().filename().string());
    return names;
  }
  static std::string content(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }
  fs::path path_;
};
using write_whole_test = Folder;

TEST_F(write_whole_test, puts_the_whole_text_under_the_name_and_nothing_else_beside_it) {
  std::string text(3'000'000, 'x');
  text += '\0';
  write_whole(path_ / "out.json", "old");
  write_whole(path_ / "out.json", text);
  EXPECT_EQ(content(path_ / "out.json"), text);
  EXPECT_THAT(names(), ElementsAre("out.json"));
}

TEST_F(write_whole_test, refuses_a_directory_and_a_missing_one_and_leaves_nothing_behind) {
  fs::create_directory(path_ / "there");
  EXPECT_THROW(write_whole(path_ / "there", "x"), Error);
  EXPECT_THROW(write_whole(path_ / "there/", "x"), Error);
  EXPECT_THROW(write_whole(path_ / "missing" / "out", "x"), Error);
  EXPECT_THROW(write_whole("", "x"), Error);
  EXPECT_THAT(names(), ElementsAre("there"));
  EXPECT_TRUE(fs::is_empty(path_ / "there"));
}

TEST_F(write_whole_test, leaves_the_old_file_and_no_part_when_the_disk_is_full) {
  // A limit on the file size stands for a full disk: write() fails in the middle in both cases.
  write_whole(path_ / "out", "old");
  const pid_t child = ::fork();
  if (child == 0) {
    ::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{1000, 1000};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    try {
      write_whole(path_ / "out", std::string(5000, 'x'));
      ::_exit(1);
    } catch (const Error&) {
      ::_exit(0);
    }
  }
  int status = -1;
  ::waitpid(child, &status, 0);
  EXPECT_EQ(status, 0);
  EXPECT_EQ(content(path_ / "out"), "old");
  EXPECT_THAT(names(), ElementsAre("out"));
}

TEST_F(write_whole_test, follows_a_link_keeps_the_mode_and_writes_through_a_device) {
  write_whole(path_ / "real", "old");
  fs::permissions(path_ / "real", fs::perms::owner_read | fs::perms::owner_write);
  fs::create_symlink("real", path_ / "link");
  write_whole(path_ / "link", "new");
  EXPECT_TRUE(fs::is_symlink(path_ / "link"));
  EXPECT_EQ(content(path_ / "real"), "new");
  EXPECT_EQ(fs::status(path_ / "real").permissions(), fs::perms::owner_read | fs::perms::owner_write);
  write_whole("/dev/null", "x");
  EXPECT_TRUE(fs::is_character_file("/dev/null"));
}

}  // namespace
}  // namespace firstedge
