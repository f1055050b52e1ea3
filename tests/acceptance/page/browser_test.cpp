// Claims of the page that only a browser can check: it draws its plots, logs no error, asks for nothing, and
// runs nothing that stood in a file. The pages are left in <build>/pages to be looked at.
#include "acceptance/page/browser.hpp"

#include "firstedge/report/report.hpp"

#include "unit/report/sample_result.hpp"

#include <algorithm>
#include <string>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::count_of;
using test::have_browser;
using test::opened;
using test::page_folder;
using test::Seen;
using test::without_scripts;
using testing::HasSubstr;
using testing::Not;

void expect_all_drawn(const Seen& seen, std::size_t plots) {
  EXPECT_THAT(seen.messages, testing::IsEmpty());
  EXPECT_THAT(seen.document, HasSubstr("data-ready=\"" + std::to_string(plots) + "\""));
  EXPECT_EQ(count_of(seen.document, "<canvas"), plots);
  // Chart.js gives a canvas its size when it has drawn on it.
  EXPECT_EQ(count_of(seen.document, "style=\"display: block; box-sizing: border-box;"), plots);
}

TEST(browser, draws_every_plot_without_an_error_whatever_its_numbers) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  const Result awkward = awkward_result();
  expect_all_drawn(opened("awkward", to_page(awkward)), awkward.plots.size());
}

// Opens the sample page in a frame, works it as a person would, and writes down what came of it.
constexpr const char* person = R"(<!DOCTYPE html><meta charset="utf-8"><iframe src="sample.html"
style="width:1200px;height:900px"></iframe><p id="seen"></p><script>
document.querySelector("iframe").addEventListener("load", ({ target: { contentWindow: page } }) => {
  const seen = [];
  const figures = page.document.querySelectorAll("figure[data-plot]");
  const press = (figure, key) => figure.querySelector("canvas").dispatchEvent(new page.KeyboardEvent("keydown", { key }));
  press(figures[1], "ArrowRight");
  press(figures[1], "ArrowDown");
  press(figures[1], "ArrowRight");
  seen.push(figures[1].querySelector(".told").textContent);
  seen.push("whole: " + figures[3].querySelector(".whole").hidden);
  press(figures[3], "+");
  seen.push("zoomed: " + !figures[3].querySelector(".whole").hidden);
  figures[4].querySelectorAll(".series")[1].click();
  seen.push("pressed: " + figures[4].querySelectorAll(".series")[1].getAttribute("aria-pressed"));
  page.document.getElementById("theme").click();
  seen.push("theme: " + page.document.documentElement.dataset.theme);
  let given = "";
  page.Blob = class { constructor(parts) { given = parts.join(""); } };
  page.URL.createObjectURL = () => "#";
  page.HTMLAnchorElement.prototype.click = function () { seen.push("file: " + this.download); };
  figures[0].querySelector(".csv").click();
  seen.push(...given.split("\r\n").slice(0, 2));
  document.getElementById("seen").textContent = seen.join(" | ");
});</script>)";

TEST(browser, reads_off_zooms_and_gives_away_points_by_keys_and_buttons) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  const Result sample = sample_result();
  write_whole(page_folder() / "sample.html", to_page(sample));
  const Seen seen = opened("person", person);
  EXPECT_THAT(seen.messages, testing::IsEmpty());
  // The first bin of the sample's histogram stands at 120 ps - 30 x 6 ps; its count and the root of it
  // follow.
  const double count = sample.plots[0].series[0].y[0];
  EXPECT_EQ(count, 4);
  EXPECT_THAT(
      seen.document,
      HasSubstr("| whole: true | zoomed: true | pressed: false | theme: dark | file: differences.csv | "
                "series,x: Time difference (s),y: Pairs a bin,standard uncertainty of y: Pairs a bin | "
                "Pairs,-6e-11,4,2<"));
  const double height_v = sample.plots[1].series[1].x[1], spread_s = sample.plots[1].series[1].y[1];
  EXPECT_THAT(seen.document,
              HasSubstr(fmt::format("Constant fraction, 30 %, Pulse height: {:.5g} mV, Spread of one "
                                    "sensor: ({:.1f} ± {:.1f}) ps",
                                    height_v * 1e3, spread_s * 1e12, 0.05 * spread_s * 1e12)));
}

// Opens the counted page in a frame and writes down the ticks of its axes.
constexpr const char* ticks_reader = R"(<!DOCTYPE html><meta charset="utf-8"><iframe src="counted.html"
style="width:1200px;height:900px"></iframe><p id="seen"></p><script>
document.querySelector("iframe").addEventListener("load", ({ target: { contentWindow: page } }) => {
  const { x, y } = page.Chart.getChart(page.document.querySelector("canvas")).scales;
  const fractions = (scale) => scale.ticks.filter((tick) => !Number.isInteger(tick.value)).length;
  document.getElementById("seen").textContent = `x ${x.ticks.length > 1} ${fractions(x)}, y ${fractions(y) > 0}`;
});</script>)";

TEST(browser, an_axis_that_counts_has_no_ticks_between_whole_numbers) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  const Result result{
      .plots = {
          {.x = {"Measurement", ""},
           .y = {"Ratio", ""},
           .series = {
               {.label = "measured", .kind = Series::Kind::points, .x = {1, 2, 3}, .y = {0, 1.5, 1}}}}}};
  write_whole(page_folder() / "counted.html", to_page(result));
  const Seen seen = opened("ticks_reader", ticks_reader);
  EXPECT_THAT(seen.messages, testing::IsEmpty());
  EXPECT_THAT(seen.document, HasSubstr(">x true 0, y true<"));
}

TEST(browser, shows_hostile_names_as_names) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  const Seen seen = opened("hostile", to_page(hostile_result()));
  expect_all_drawn(seen, 1);
  EXPECT_THAT(seen.document, Not(HasSubstr("<title>taken</title>")));
  // In the browser's own writing of the document every < outside a script or a style opens or closes an
  // element.
  const std::string elements = without_scripts(seen.document);
  EXPECT_EQ(count_of(elements, "<img"), 0U);
  EXPECT_THAT(elements, Not(testing::ContainsRegex("<[a-z]+( [a-z-]+(=\"[^\"]*\")?)* on[a-z]+=")));
  EXPECT_THAT(elements, HasSubstr("<h1>&lt;/script&gt;&lt;img src=x"));
}

TEST(browser, policy_stops_a_script_and_a_request_that_got_into_the_page) {
  // The second wall: even if an escape were missing, nothing would run and nothing would be fetched.
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  std::string page = to_page(Result{.title = "before"});
  page.insert(
      page.find("</main>"),
      "<script>document.title='taken'</script><img src='missing.png' onerror=\"document.title='taken'\">");
  const Seen seen = opened("broken_into", page);
  EXPECT_THAT(seen.document, HasSubstr("<title>before</title>"));
  const auto refusals = std::count_if(
      seen.messages.begin(), seen.messages.end(),
      [](const std::string& line) { return line.find("Content Security Policy") != std::string::npos; });
  EXPECT_GE(refusals, 2);  // the script and the image
}

}  // namespace
}  // namespace firstedge
