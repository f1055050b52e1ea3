// Claims of the window onto traces that only a browser can check: it steps, picks, zooms and measures by
// mouse and by keys, at the width of a desk and of a phone; hostile names stay names; and no page has a fault
// of its layout.
#include "firstedge/report/report.hpp"

#include "acceptance/page/browser.hpp"
#include "unit/report/sample_browser.hpp"
#include "unit/report/sample_result.hpp"

#include <string>

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

// What the frames told.
std::string told(const Seen& seen) {
  const std::string opening = "<p id=\"seen\">";
  const std::size_t from = seen.document.find(opening);
  return seen.document.substr(from, seen.document.find("</p>", from) - from);
}

// Opens pages in frames of two widths; each says what came of `looked(page)`, or that something was thrown.
std::string in_frames(const std::vector<std::string>& pages, const std::string& script) {
  std::string html = "<!DOCTYPE html><meta charset=\"utf-8\">";
  for (const std::string& page : pages) {
    for (const char* width : {"1200", "390"})
      html +=
          "<iframe data-src=\"" + page + "\" style=\"width:" + width + "px;height:900px;border:0\"></iframe>";
  }
  return html + "<p id=\"seen\"></p><script>\n" + script + R"(
const told = [];
for (const frame of document.querySelectorAll("iframe")) {
  frame.addEventListener("load", ({ target: { contentWindow: page } }) => {
    try { told.push(`${frame.dataset.src} ${frame.style.width}: ${looked(page)}`); }
    catch (thrown) { told.push(`thrown: ${thrown.stack}`); }
    document.getElementById("seen").textContent = told.join(" || ");
  });
  frame.src = frame.dataset.src;
}</script>)";
}

// A person at work. Pixels are those of the chart's own scales; what is read off must be what was aimed at.
constexpr const char* person = R"(
function looked(page) {
  const seen = [];
  const { document: paper } = page;
  const part = (id) => paper.getElementById(id);
  const canvas = part("trace").querySelector("canvas");
  const chart = () => page.Chart.getChart(canvas);
  const press = (key, on = canvas) => on.dispatchEvent(new page.KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }));
  const pointer = (on, kind, x, y) => {
    const { left, top } = on.getBoundingClientRect();
    on.setPointerCapture = () => {}; // there is no real pointer to capture
    on.dispatchEvent(new page.PointerEvent(kind, { clientX: left + x, clientY: top + y, button: 0, pointerType: "mouse", bubbles: true }));
  };
  const click = (on, x, y) => ["pointerdown", "pointerup", "click"].forEach((kind) => pointer(on, kind, x, y));
  const show = (group) => { part("group").value = group; part("group").dispatchEvent(new page.Event("change")); };
  const where = () => `${part("position").textContent}, ${part("trace").querySelector("h3").textContent}`;

  seen.push(`start ${where()}`);
  show("1");
  press("ArrowRight");
  seen.push(`stepped ${where()}`);
  part("previous").click();
  part("previous").click();
  seen.push(`back ${where()}`);
  seen.push(`flag ${part("flag-words").textContent}`);
  press("ArrowDown");
  seen.push(`empty ${part("position").textContent} ${part("next").disabled}`);
  show("0");

  press("a"); // comes to the time, 0.5 ns on the edge
  press("b");
  press(".");
  press(".");
  seen.push(`keys ${part("measured").textContent}`);
  const { x, y } = chart().scales;
  for (const time of [0.25, 0.75]) {
    part(time === 0.25 ? "cursor-a" : "cursor-b").click();
    click(canvas, x.getPixelForValue(time), y.getPixelForValue(50));
  }
  const read = part("measured").textContent.match(/[\d.]+(?= [pm][sV])/g).map(Number); // ps and mV of A, of B, of B − A
  const pixel = 1e3 * (x.getValueForPixel(1) - x.getValueForPixel(0));
  const aimed = Math.abs(read[0] - 250) < pixel && Math.abs(read[2] - 750) < pixel;
  const onTrace = [0, 2].every((at) => Math.abs(read[at + 1] - (1 + 0.1 * read[at])) < 0.01);
  const difference = Math.abs(read[4] - (read[2] - read[0])) < 0.02 && Math.abs(read[5] - (read[3] - read[1])) < 0.02;
  seen.push(`clicked ${aimed} ${onTrace} ${difference}`);

  pointer(canvas, "pointerdown", x.getPixelForValue(-1), y.getPixelForValue(20));
  pointer(canvas, "pointermove", x.getPixelForValue(2), y.getPixelForValue(80));
  pointer(canvas, "pointerup", x.getPixelForValue(2), y.getPixelForValue(80));
  const residual = page.Chart.getChart(part("residual").querySelector("canvas")).scales.x;
  seen.push(`zoomed ${chart().scales.x.min.toFixed(3)} ${chart().scales.x.max.toFixed(3)} ${residual.min.toFixed(3)} ${residual.max.toFixed(3)}`);
  part("trace").querySelector(".whole").click();
  seen.push(`whole ${chart().scales.x.min < -9.9 && part("trace").querySelector(".whole").hidden}`);
  press("e");
  press("ArrowRight");
  const shown = () => [chart(), page.Chart.getChart(part("residual").querySelector("canvas"))].map(({ scales: { x } }) => `${x.min.toFixed(3)} ${x.max.toFixed(3)}`).join(" ");
  seen.push(`edge ${shown()}`);
  part("theme").click();
  seen.push(`edge in the dark ${shown()}`);
  press("e");

  const bins = part("plot-1").querySelector("canvas");
  const of = page.Chart.getChart(bins);
  click(bins, of.scales.x.getPixelForValue(50), of.scales.y.getPixelForValue(3));
  seen.push(`bin ${where()} ${part("rule").textContent}`);
  press("ArrowRight", part("next"));
  seen.push(`second ${where()}`);
  click(bins, of.scales.x.getPixelForValue(100), of.scales.y.getPixelForValue(3));
  seen.push(`bare ${part("position").textContent} ${part("rule").textContent}`);
  const points = part("plot-2").querySelector("canvas");
  press("ArrowRight", points);
  press("ArrowRight", points);
  press("Enter", points);
  seen.push(`point ${where()}`);

  part("trace").querySelector(".csv").click(); // the policy must let it through: no refusal is logged
  let given = "";
  page.Blob = class { constructor(parts) { given = parts.join(""); } };
  page.URL.createObjectURL = () => "#";
  page.HTMLAnchorElement.prototype.click = function () { seen.push(`file ${this.download}`); };
  part("residual").querySelector(".csv").click();
  const left = given.split("\r\n").filter((line) => line.startsWith("Residual"));
  const [, at, value] = left[5].split(",").map(Number);
  // 3 mV on the sixth sample; trace and fit are each rounded to half a step of 103 mV / 65534.
  seen.push(`residuals ${left.length} ${at} ${Math.abs(value - 3e-3) < 1.6e-6}`);
  part("theme").click();
  seen.push(`still ${where()}`);
  return seen.join(" | ");
})";

TEST(trace_window, steps_picks_zooms_and_measures_at_both_widths) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  write_whole(page_folder() / "traces.html", to_page(sample_browser()));
  const Seen seen = opened("traces_person", in_frames({"traces.html"}, person));
  EXPECT_THAT(seen.messages, testing::IsEmpty());
  const std::string words_of_both = told(seen);
  const auto at_both_widths = [&](const std::string& words) {
    EXPECT_EQ(count_of(words_of_both, words), 2U) << words << "\n" << words_of_both;
  };
  at_both_widths("start 1 of 10, Record 0, a, first pulse |");
  at_both_widths("stepped 2 of 3, Record 300, b, first pulse |");
  at_both_widths("back 3 of 3, Record 500, b, first pulse |");
  at_both_widths("flag clipped: samples of the pulse stand at the digitizer's limit");
  at_both_widths("empty none true |");
  // Two samples on, on the edge of 100 mV in 1 ns.
  at_both_widths("keys A: 500 ps, 51 mV   B: 700 ps, 71 mV   B − A: 200 ps, 20 mV |");
  // Clicks fall on whole pixels; what they read is on the edge, to the digits shown.
  at_both_widths("clicked true true true |");
  at_both_widths("zoomed -1.000 2.000 -1.000 2.000 |");
  at_both_widths("whole true |");
  at_both_widths("edge -1.500 2.500 -1.500 2.500 |");  // 2.5 transition durations of 0.8 ns about 0.5 ns
  at_both_widths("edge in the dark -1.500 2.500 -1.500 2.500 |");
  at_both_widths(
      "bin 1 of 2, Record 200, a, first pulse Picked: the bin at 50 mV of “Pulse height”, which holds 20; "
      "chosen by lot. |");
  at_both_widths("second 2 of 2, Record 400, a, first pulse |");
  at_both_widths(
      "bare none Picked: the bin at 100 mV of “Pulse height”, which holds 30; chosen by lot. No trace of it "
      "is on this page. |");
  at_both_widths("point 1 of 1, Record 100, b, first pulse |");
  at_both_widths("file residual_record_100_channel_2_pulse_1.csv |");
  at_both_widths("residuals 201 -9.5e-9 true |");
  at_both_widths("still 1 of 1, Record 100, b, first pulse");
}

TEST(trace_window, shows_hostile_names_as_names) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  const Seen seen = opened("hostile_traces", to_page(hostile_browser()));
  EXPECT_THAT(seen.messages, testing::IsEmpty());
  EXPECT_THAT(seen.document, HasSubstr("data-ready=\"4\""));
  EXPECT_THAT(seen.document, Not(HasSubstr("<title>taken</title>")));
  EXPECT_EQ(count_of(without_scripts(seen.document), "<img"), 0U);
}

// Faults that an eye would see: a page wider than its window, things over one another or cut off, an empty
// plot.
constexpr const char* eye = R"(
function looked(page) {
  const faults = [];
  const { document: paper } = page;
  const wide = paper.documentElement.clientWidth;
  if (paper.documentElement.scrollWidth > wide) faults.push(`page of ${paper.documentElement.scrollWidth} in ${wide}`);
  const name = (one) => `${one.tagName} ${one.id || one.className} ${one.textContent.slice(0, 30)}`;
  const shown = (one) => one.getClientRects().length > 0 && page.getComputedStyle(one).position !== "absolute";
  for (const one of paper.querySelectorAll("h1, h2, h3, p, figure, button, select, output, label, figcaption, .scroll, .figures > div")) {
    const { left, right } = one.getBoundingClientRect();
    if (shown(one) && !one.closest(".told, table") && (left < -1 || right > wide + 1)) faults.push(`off the page: ${name(one)}`);
  }
  for (const parent of paper.querySelectorAll("main, header, section, figure, .plots, .window-plots, .tools, .legend, .choose, .steps, .figures")) {
    const boxes = [...parent.children].filter(shown).map((one) => ({ one, box: one.getBoundingClientRect() }));
    boxes.forEach(({ one, box }, i) => boxes.slice(i + 1).forEach(({ one: other, box: beside }) => {
      const across = Math.min(box.right, beside.right) - Math.max(box.left, beside.left);
      const up = Math.min(box.bottom, beside.bottom) - Math.max(box.top, beside.top);
      if (across > 1 && up > 1) faults.push(`over one another: ${name(one)} and ${name(other)}`);
    }));
  }
  for (const canvas of paper.querySelectorAll("figure:not([hidden]) canvas")) {
    const figure = canvas.closest("figure");
    const box = canvas.getBoundingClientRect();
    if (box.width < 250 || box.height < 100) faults.push(`small plot: ${name(figure)}`);
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    const { chartArea, data: { datasets } } = page.Chart.getChart(canvas);
    if (chartArea.width < 150 || chartArea.height < 60) faults.push(`no room in: ${name(figure)}`);
    if (!figure.querySelector("figcaption").textContent.trim()) faults.push(`no caption: ${name(figure)}`);
    if (!figure.querySelector("button.csv")) faults.push(`no points as CSV: ${name(figure)}`);
    for (const axis of Object.values(page.Chart.getChart(canvas).options.scales)) if (!axis.title.text) faults.push(`no name of an axis: ${name(figure)}`);
    const ink = new Set();
    const scale = canvas.width / box.width;
    const [from, to] = [Math.ceil(chartArea.top * scale) + 2, Math.floor(chartArea.bottom * scale) - 2];
    for (let row = from; row < to && ink.size < 4; row++) for (let column = Math.ceil(chartArea.left * scale) + 2; column < chartArea.right * scale - 2; column++) {
      const at = 4 * (row * canvas.width + column);
      ink.add(data[at] << 24 | data[at + 1] << 16 | data[at + 2] << 8 | data[at + 3]);
    }
    const mayBeEmpty = page.location.href.includes("awkward"); // it holds plots without a number
    if (!mayBeEmpty && datasets.some((set) => set.data.length) && ink.size < 4) faults.push(`empty plot: ${name(figure)}`);
  }
  return faults.join("; ") || "no fault";
})";

// The page with things over one another and beside the window.
std::string faulty_page() {
  std::string page = to_page(sample_browser());
  // The policy would refuse a style that is not ours, so this page does without one.
  const std::string policy = "<meta http-equiv";
  page.replace(page.find(policy), policy.size(), "<meta data-none");
  page.insert(page.find("</style>"),
              "#measured { margin-top: -5rem; } #rule { width: 2000px; max-width: none; }");
  return page;
}

TEST(trace_window, pages_have_no_fault_of_layout_at_the_width_of_a_desk_and_of_a_phone) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  write_whole(page_folder() / "traces_layout.html", to_page(sample_browser()));
  write_whole(page_folder() / "sample_layout.html", to_page(sample_result()));
  write_whole(page_folder() / "awkward_layout.html", to_page(awkward_result()));
  write_whole(page_folder() / "faulty_layout.html", faulty_page());
  const std::vector<std::string> pages{"traces_layout.html", "sample_layout.html", "awkward_layout.html",
                                       "faulty_layout.html"};
  const Seen seen = opened("layout", in_frames(pages, eye));
  EXPECT_THAT(seen.messages, testing::IsEmpty());
  const std::string words = told(seen);
  EXPECT_EQ(count_of(words, "px: no fault"), 6U) << words;
  // And where there are faults, they are seen.
  EXPECT_EQ(count_of(words, "px: page of 20"), 2U) << words;
  EXPECT_EQ(count_of(words, "off the page: P rule"), 2U) << words;
  EXPECT_GE(count_of(words, "over one another:"), 2U) << words;
}

}  // namespace
}  // namespace firstedge
