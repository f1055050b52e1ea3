// Claims of the page: it asks for nothing, runs nothing of a file's, and packs its numbers without losing
// them.
#include "firstedge/core/digest.hpp"
#include "firstedge/report/page_parts.hpp"
#include "firstedge/report/report.hpp"

#include "unit/report/sample_result.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace firstedge {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

std::size_t count_of(const std::string& text, const std::string& part) {
  std::size_t count = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size()))
    ++count;
  return count;
}

// The data of the plots as the page's script will read them.
nlohmann::json data_in(const std::string& page) {
  const std::string start = "<script type=\"application/json\" id=\"plots\">";
  const std::size_t from = page.find(start) + start.size();
  return nlohmann::json::parse(page.substr(from, page.find("</script>", from) - from));
}

TEST(page, references_nothing_outside_itself_and_allows_only_its_own_scripts) {
  const std::string page = to_page(sample_result());
  EXPECT_THAT(page, HasSubstr("default-src 'none'; script-src 'sha256-"));
  EXPECT_THAT(page, Not(HasSubstr("unsafe-")));
  EXPECT_THAT(page, Not(HasSubstr(" src=")));
  EXPECT_THAT(page, Not(HasSubstr("@import")));
  EXPECT_THAT(page, Not(HasSubstr("<link")));
  EXPECT_EQ(count_of(page, "<script"), 4U);  // theme, data, plot library, page
  EXPECT_EQ(count_of(page, "</script>"), 4U);
  EXPECT_EQ(page, to_page(sample_result()));
}

TEST(page, own_files_can_stand_inside_their_elements) {
  // HTML Living Standard, 4.12.1.3: what a script's text must not hold.
  for (const std::string_view script : {page_theme_script(), page_script(), plot_library_script()}) {
    EXPECT_GT(script.size(), 100U);
    EXPECT_EQ(script.find("</script"), std::string_view::npos);
    EXPECT_EQ(script.find("<!--"), std::string_view::npos);
    EXPECT_EQ(script.find("<script"), std::string_view::npos);
  }
  EXPECT_EQ(page_style().find("</style"), std::string_view::npos);
  EXPECT_EQ(page_style().find("url("), std::string_view::npos);
}

TEST(page, a_policy_names_the_digests_of_what_stands_in_it) {
  // W3C Content Security Policy Level 3, section 2.3.1: base64 of the SHA-256 of the element's text. The
  // digests in the policy are turned back to hexadecimal here and compared with sha256(), which is held to
  // FIPS 180-4 in core's tests.
  const std::string page = to_page(Result{});
  const std::string letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  const std::string source = "'sha256-";
  std::vector<std::string> digests;
  for (std::size_t at = page.find(source); at != std::string::npos; at = page.find(source, at + 1)) {
    if (page.substr(at + source.size() + 43, 2) != "='") continue;  // 32 bytes are 43 letters and one sign
    std::string bits, hex;
    for (const char letter : page.substr(at + source.size(), 43)) {
      for (int bit = 5; bit >= 0; --bit)
        bits += (letters.find(letter) >> static_cast<unsigned>(bit) & 1U) != 0 ? '1' : '0';
    }
    for (std::size_t bit = 0; bit < 256; bit += 4)
      hex += "0123456789abcdef"[std::stoul(bits.substr(bit, 4), nullptr, 2)];
    digests.push_back(hex);
  }
  const auto digest = [](std::string_view text) { return sha256(std::as_bytes(std::span(text))); };
  EXPECT_THAT(digests, ElementsAre(digest(page_theme_script()), digest(plot_library_script()),
                                   digest(page_script()), digest(page_style())));
}

TEST(page, hostile_names_stay_names) {
  const std::string page = to_page(hostile_result());
  EXPECT_EQ(count_of(page, "<script"), 4U);
  EXPECT_EQ(count_of(page, "</script>"), 4U);
  EXPECT_THAT(page, Not(HasSubstr("<img")));
  EXPECT_THAT(page, HasSubstr("&lt;script&gt;document.title=&#39;taken&#39;&lt;/script&gt;"));
  EXPECT_THAT(page, Not(HasSubstr("\"' onmouseover")));
  const nlohmann::json data = data_in(page);
  EXPECT_EQ(data[0]["series"][0]["label"], "<script>document.title='taken'</script>");
  EXPECT_THAT(data[0]["file"].get<std::string>(), testing::MatchesRegex("[A-Za-z0-9_-]+"));
}

TEST(page, an_instant_in_the_answer_stays_on_one_line_unless_it_is_long) {
  Result result = sample_result();
  result.answer = "at 2026-11-25T12:00:27Z, and 2026-11-25T12:00:27.000000000000005Z, measured 2026-10-05";
  EXPECT_THAT(to_page(result), HasSubstr("at <span class=\"whole\">2026-11-25T12:00:27Z</span>, and "
                                         "2026-11-25T12:00:27.000000000000005Z, measured 2026-10-05"));
}

TEST(page, a_name_that_is_no_utf8_or_turns_the_writing_is_made_harmless) {
  Result result{.title = "a\xff\xfe\u202Eb\x01"};
  result.plots = {{.key = "k", .title = "t", .series = {{.label = "a\xff", .x = {1}, .y = {2}}}}};
  const std::string page = to_page(result);
  EXPECT_THAT(page, HasSubstr("<h1>a\uFFFD\uFFFD\uFFFDb?</h1>"));
  EXPECT_EQ(data_in(page)[0]["series"][0]["label"], "a\uFFFD");
}

TEST(page, gives_axes_a_prefix_and_their_numbers_in_it) {
  Plot plot{.key = "k", .x = {"Time", "s"}, .y = {"Density", "V^2/Hz", true}};
  plot.series = {
      {.label = "a", .x = {0, 1e-10, 2.5e-10}, .y = {3e-15, 0, 1e-14}, .y_uncertainty = {1e-16, 0, 0}}};
  plot.markers = {{1.5e-10, true, "m"}, {std::nan(""), true, "nowhere"}};
  const nlohmann::json data = nlohmann::json::parse(plots_data({plot}));
  EXPECT_EQ(data[0]["x"]["unit"], "ps");
  EXPECT_EQ(data[0]["x"]["factor"].get<double>(), 1e-12);
  EXPECT_EQ(data[0]["series"][0]["x"], (nlohmann::json{0, 100, 250}));
  EXPECT_EQ(data[0]["y"]["unit"], "V²/Hz");  // a logarithmic axis stays in SI
  EXPECT_EQ(data[0]["series"][0]["y"][2].get<double>(), 1e-14);
  EXPECT_FALSE(data[0]["series"][0].contains("low"));
  ASSERT_EQ(data[0]["markers"].size(), 1U);
  EXPECT_DOUBLE_EQ(data[0]["markers"][0]["at"].get<double>(), 150);
}

TEST(page, an_interval_about_a_point_keeps_both_its_ends) {
  Plot plot{.key = "k", .x = {"Time", "s"}, .y = {"Delay", "s"}};
  plot.series = {
      {.label = "a", .x = {0, 1}, .y = {1e-12, 2e-12}, .y_low = {5e-13, 1e-12}, .y_high = {4e-12, 3e-12}}};
  const nlohmann::json data = nlohmann::json::parse(plots_data({plot}));
  EXPECT_EQ(data[0]["series"][0]["low"], (nlohmann::json{0.5, 1}));
  EXPECT_EQ(data[0]["series"][0]["high"], (nlohmann::json{4, 3}));
  const nlohmann::json whole = nlohmann::json::parse(to_json(Result{.plots = {plot}}));
  EXPECT_DOUBLE_EQ(whole["plots"]["k"]["series"][0]["y_high"][0].get<double>(), 4e-12);
}

TEST(page, packs_evenly_spaced_values_and_tells_neighbours_apart_far_from_zero) {
  Series series{.label = "a"};
  for (int sample = 0; sample < 1000; ++sample) {
    series.x.push_back(3600 + sample * 2e-10);  // 0.2 ns steps an hour after zero
    series.y.push_back(1e6 + (sample % 7) * 1e-3);
  }
  Plot plot{.key = "k", .x = {"Time", "s"}, .y = {"Count", ""}, .series = {series}};
  nlohmann::json data = nlohmann::json::parse(plots_data({plot}));
  // A double near 3600 s resolves 0.45 ps, more than a millionth of the step: told one by one, with all its
  // digits.
  ASSERT_TRUE(data[0]["series"][0]["x"].is_array());
  EXPECT_EQ(data[0]["series"][0]["x"][999].get<double>(), series.x[999]);
  // Seven digits of the span of 6e-3: half a unit of the seventh is 5e-10 of it, scaled by the axis' 10^6.
  for (std::size_t at = 0; at < 7; ++at)
    EXPECT_NEAR(data[0]["series"][0]["y"][at].get<double>() * 1e6, series.y[at], 6e-9);
  plot.series[0].x.clear();
  for (int sample = 0; sample < 1000; ++sample) plot.series[0].x.push_back(-1e-7 + sample * 2e-10);
  data = nlohmann::json::parse(plots_data({plot}));
  const nlohmann::json x = data[0]["series"][0]["x"];
  EXPECT_EQ(x["count"], 1000);
  EXPECT_DOUBLE_EQ(x["start"].get<double>(), -100);
  EXPECT_NEAR(x["step"].get<double>(), 0.2, 1e-13);  // written with 15 digits
}

TEST(page, null_stands_for_what_is_no_number_and_lists_may_be_empty) {
  Plot plot{.key = "k"};
  plot.series = {{.label = "a", .x = {1, 2}, .y = {std::nan(""), std::numeric_limits<double>::infinity()}},
                 {}};
  const nlohmann::json data = nlohmann::json::parse(plots_data({plot, Plot{}}));
  EXPECT_TRUE(data[0]["series"][0]["y"][0].is_null());
  EXPECT_TRUE(data[0]["series"][0]["y"][1].is_null());
  EXPECT_TRUE(data[0]["series"][1]["y"].empty());
  EXPECT_EQ(plots_data({}), "[]");
}

TEST(page, of_a_million_points_keeps_every_spike_and_gap_and_stays_small) {
  Series line{.label = "line"}, cloud{.label = "cloud", .kind = Series::Kind::points};
  for (int sample = 0; sample < 1'000'000; ++sample) {
    line.x.push_back(sample * 2e-10);
    line.y.push_back(std::sin(sample * 1e-3));
  }
  line.y[123'456] = 7;
  line.y[654'321] = -7;
  line.y[777'777] = std::nan("");
  Result result{.title = "Long"};
  result.plots = {{.key = "line", .caption = "Look.", .series = {line}}};
  const std::string page = to_page(result);
  EXPECT_LT(page.size(), 3'000'000U);
  EXPECT_THAT(page, HasSubstr("Look. Of 1000000 points the extremes of short stretches are drawn here"));
  const nlohmann::json drawn = data_in(page)[0]["series"][0]["y"];
  EXPECT_EQ(std::count(drawn.begin(), drawn.end(), 7), 1);
  EXPECT_EQ(std::count(drawn.begin(), drawn.end(), -7), 1);
  EXPECT_EQ(std::count(drawn.begin(), drawn.end(), nullptr), 1);
  EXPECT_EQ(drawn.front(), 0);

  cloud.x = line.x;
  cloud.y = line.y;
  const Plot scatter{.key = "cloud", .series = {cloud}};
  EXPECT_EQ(nlohmann::json::parse(plots_data({scatter}))[0]["series"][0]["y"].size(), 100'000U);
  EXPECT_EQ(thinning_note(scatter), "Of 1000000 points an even choice is drawn here; the JSON holds all.");
  EXPECT_EQ(thinning_note(sample_result().plots[0]), "");
}

TEST(page, lines_numbers_up_at_the_point) {
  const Table table{
      .key = "t",
      .title = "T",
      .columns = {{"a", "A", "s"}, {"b", "B", "V"}},
      .rows = {{Estimate{4.13e-11, 5.2e-13}, -0.5}, {Estimate{2.9e-11, 1.2e-12}, 0.25}, {std::nan(""), 1.0}}};
  const std::string text = table_html(table, "t");
  EXPECT_THAT(text, HasSubstr("<td class=\"number\">41.30 ± 0.52</td>"));
  EXPECT_THAT(
      text, HasSubstr("<td class=\"number\">29.0<i data-fill=\"0\"></i> ± 1.2<i data-fill=\"0\"></i></td>"));
  EXPECT_THAT(text, HasSubstr("<td class=\"number\">–</td>"));
  EXPECT_THAT(text, HasSubstr("<td class=\"number\">−0.50</td>"));
  EXPECT_THAT(text, HasSubstr("<th scope=\"col\" class=\"number\">A<span class=\"unit\">(ps)</span></th>"));
}

TEST(page, the_head_of_an_empty_table_has_no_unit_that_nothing_was_measured_in) {
  Table table{.title = "Mismatches", .columns = {{"delay", "Delay", "s"}}};
  EXPECT_THAT(table_html(table, "t"), Not(HasSubstr("unit")));
  table.rows = {{2e-9}};
  EXPECT_THAT(table_html(table, "t"), HasSubstr("<span class=\"unit\">(ns)</span>"));
}

TEST(page, an_answer_has_true_minus_signs_and_dates_keep_their_hyphens) {
  EXPECT_THAT(to_page(Result{.answer = "Of run-3, 2026-11-03: (-3.2 ± 0.1) ns, E_n = -16.5."}),
              HasSubstr("Of run-3, 2026-11-03: (−3.2\u00A0±\u00A00.1)\u00A0ns, E_n\u00A0=\u00A0−16.5."));
}

TEST(page, writes_a_true_minus_also_where_each_cell_has_its_own_prefix) {
  const Table table{.key = "t",
                    .title = "T",
                    .columns = {{"a", "A", "s"}},
                    .rows = {{Estimate{-2.0e-12, 1.5e-12}}, {-3e-15}, {4e-6}}};
  const std::string text = table_html(table, "t");
  EXPECT_THAT(text, HasSubstr("<td class=\"number\">(−2.0 ± 1.5) ps</td>"));
  EXPECT_THAT(text, HasSubstr("<td class=\"number\">−3 fs</td>"));
  EXPECT_EQ(as_printed("-7.04e-12"), "−7.04 × 10⁻¹²");
  EXPECT_EQ(as_printed("8e+20 1/s"), "8 × 10²⁰ 1/s");
  EXPECT_EQ(as_printed("the-2 pass"), "the-2 pass");
}

}  // namespace
}  // namespace firstedge
