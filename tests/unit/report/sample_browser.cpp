#include "unit/report/sample_browser.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <numeric>

namespace firstedge {
namespace {

constexpr double interval_s = 0.1e-9, first_s = -10e-9;

double pulse_v(double time_s) {
  const double rising = time_s / 1e-9, falling = (6e-9 - time_s) / 5e-9;
  return 1e-3 + 0.1 * std::clamp(std::min(rising, falling), 0.0, 1.0);
}

BrowsedTrace sample_trace(std::uint64_t number) {
  BrowsedTrace trace{.record = 100 * number,
                     .channel = static_cast<std::uint16_t>(number % 2),
                     .first_sample_s = first_s,
                     .interval_s = interval_s};
  for (int i = 0; i <= 200; ++i) trace.fit_volts.push_back(pulse_v(first_s + i * interval_s));
  trace.volts = trace.fit_volts;
  trace.volts[5] += 3e-3;
  Stamp stamp{.record = trace.record, .channel = trace.channel, .time_s = 0.5e-9, .uncertainty_s = 10e-12};
  stamp.height_v = 0.1;
  stamp.noise_v = 1e-3;
  stamp.baseline_v = 1e-3;
  stamp.transition_duration_s = 0.8e-9;
  stamp.goodness = 1.02;
  if (number == 1 || number == 3 || number == 5) stamp.flags = Flag::clipped;
  Stamp untimed{.record = trace.record, .channel = trace.channel, .method = 1};
  untimed.flags = Flag::not_timed;
  trace.stamps = {stamp, untimed};
  trace.level_v = {pulse_v(0.5e-9), not_known};
  return trace;
}

Plot heights_plot() {
  return {.key = "heights",
          .title = "Pulse height",
          .caption = "Pick a bin.",
          .x = {.label = "Pulse height", .unit = "V"},
          .y = {.label = "Pulses a bin", .unit = ""},
          .series = {{.label = "a", .kind = Series::Kind::bars, .x = {0.05, 0.1, 0.15}, .y = {20, 30, 10}}}};
}

Plot times_plot(const std::vector<BrowsedTrace>& traces) {
  Series points{.label = "a", .kind = Series::Kind::points};
  for (std::size_t at = 0; at < traces.size(); ++at) {
    points.x.push_back(0.1 * (1 + static_cast<double>(at)));
    points.y.push_back(0.5e-9);
    points.y_uncertainty.push_back(10e-12);
  }
  return {.key = "times",
          .title = "Time against height",
          .caption = "Pick a point.",
          .x = {.label = "Pulse height", .unit = "V"},
          .y = {.label = "Time from the trigger", .unit = "s"},
          .series = {points}};
}

}  // namespace

TraceBrowser sample_browser() {
  TraceBrowser browser{.channels = {"a", "b"}, .methods = {"template_fit", "leading_edge"}};
  browser.result = {.kind = "traces",
                    .title = "Skerry test line, traces",
                    .answer = "(30 ± 14) % of 10 pulses carry a flag."};
  for (std::uint64_t number = 0; number < 10; ++number) browser.traces.push_back(sample_trace(number));
  std::vector<std::size_t> all(10);
  std::iota(all.begin(), all.end(), std::size_t{0});
  browser.groups = {{.label = "every trace", .rule = "All of them.", .pulses = 60, .traces = all},
                    {.label = "clipped", .rule = "By lot.", .pulses = 7, .traces = {1, 3, 5}},
                    {.label = "none", .rule = "Empty.", .pulses = 0, .traces = {}}};
  browser.result.plots = {heights_plot(), times_plot(browser.traces)};
  PointTraces bins{.plot_key = "heights", .of_point = {{2, 4}, {}, {7}}}, points{.plot_key = "times"};
  for (const std::size_t at : all) points.of_point.push_back({at});
  browser.points = {bins, points};
  return browser;
}

TraceBrowser hostile_browser() {
  TraceBrowser browser = sample_browser();
  const std::string taken = "</script></option></select><img src=x onerror=\"document.title='taken'\">";
  browser.channels = {taken, "<script>document.title='taken'</script>"};
  browser.methods = {"<!--<script>", taken};
  for (TraceGroup& group : browser.groups) group.label = group.rule = taken;
  browser.result.title = taken;
  for (Plot& plot : browser.result.plots) plot.title = plot.series[0].label = plot.x.label = taken;
  return browser;
}

TraceBrowser large_browser(std::size_t traces, std::size_t values) {
  TraceBrowser browser = sample_browser();
  test::Random random(8);
  const std::size_t samples = values / traces / 2;
  BrowsedTrace trace = browser.traces.front();
  trace.stamps.assign(4, trace.stamps.front());
  trace.level_v.assign(4, 0.051);
  for (std::vector<double>* curve : {&trace.volts, &trace.fit_volts}) {
    curve->clear();
    for (std::size_t i = 0; i < samples; ++i) curve->push_back(random.normal(0, 1));
  }
  browser.traces.assign(traces, trace);
  return browser;
}

}  // namespace firstedge
