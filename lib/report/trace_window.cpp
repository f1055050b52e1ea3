// The window onto traces: its elements, and the traces packed for its script.
#include "firstedge/report/base64.hpp"
#include "firstedge/report/page_parts.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

std::string number(double value, int digits) {
  return std::isfinite(value) ? fmt::format("{:.{}g}", value, digits) : "null";
}

// Values as low + n * step with n in 16 bits, the lowest byte first; the highest n stands for a missing
// value.
std::string packed(const std::vector<double>& values) {
  constexpr double steps = 65534;
  double low = std::numeric_limits<double>::infinity(), high = -low;
  for (const double value : values) {
    if (!std::isfinite(value)) continue;
    low = std::min(low, value);
    high = std::max(high, value);
  }
  if (low > high) low = high = 0;
  const double step = high > low ? (high - low) / steps : 1;
  std::vector<std::byte> bytes;
  bytes.reserve(2 * values.size());
  for (const double value : values) {
    const double n = std::isfinite(value) ? std::round((value - low) / step) : steps + 1;
    const auto bits = static_cast<unsigned>(n);
    bytes.push_back(static_cast<std::byte>(bits & 0xFFU));
    bytes.push_back(static_cast<std::byte>(bits >> 8U));
  }
  return fmt::format("{{\"low\":{},\"step\":{},\"steps\":\"{}\"}}", number(low, 12), number(step, 12),
                     base64(bytes));
}

// Digits: 12 leave a femtosecond of a millisecond; an uncertainty or a goodness needs few.
std::string stamp_data(const Stamp& stamp, double level_v) {
  return fmt::format(
      "{{\"method\":{},\"time\":{},\"u\":{},\"level\":{},\"height\":{},\"baseline\":{},\"noise\":{},"
      "\"transition\":{},\"goodness\":{},\"flags\":{}}}",
      stamp.method, number(stamp.time_s, 12), number(stamp.uncertainty_s, 4), number(level_v, 6),
      number(stamp.height_v, 5), number(stamp.baseline_v, 6), number(stamp.noise_v, 4),
      number(stamp.transition_duration_s, 4), number(stamp.goodness, 4), stamp.flags.bits());
}

std::string trace_data(const BrowsedTrace& trace) {
  std::string stamps, others;
  for (std::size_t s = 0; s < trace.stamps.size(); ++s) {
    const double level_v = s < trace.level_v.size() ? trace.level_v[s] : not_known;
    stamps += fmt::format("{}{}", s == 0 ? "" : ",", stamp_data(trace.stamps[s], level_v));
  }
  for (const double time_s : trace.other_pulses_s)
    others += fmt::format("{}{}", others.empty() ? "" : ",", number(time_s, 12));
  std::string text =
      fmt::format("{{\"record\":\"{}\",\"channel\":{},\"pulse\":{},\"first\":{},\"interval\":{},\"volts\":{}",
                  trace.record, trace.channel, trace.pulse, number(trace.first_sample_s, 12),
                  number(trace.interval_s, 12), packed(trace.volts));
  if (!trace.fit_volts.empty()) text += ",\"fit\":" + packed(trace.fit_volts);
  if (!trace.recorded_volts.empty()) {
    text += fmt::format(",\"recorded\":{},\"recordedFirst\":{}", packed(trace.recorded_volts),
                        number(trace.recorded_first_sample_s, 12));
  }
  return text + fmt::format(",\"stamps\":[{}],\"others\":[{}]}}", stamps, others);
}

std::string texts(const std::vector<std::string>& words) {
  std::string list;
  for (const std::string& word : words) list += fmt::format("{}{}", list.empty() ? "" : ",", json_text(word));
  return fmt::format("[{}]", list);
}

std::string groups_data(const TraceBrowser& browser) {
  std::string text;
  for (const TraceGroup& group : browser.groups) {
    text += fmt::format("{}{{\"rule\":{},\"traces\":[{}]}}", text.empty() ? "" : ",\n", json_text(group.rule),
                        fmt::join(group.traces, ","));
  }
  return fmt::format("[{}]", text);
}

std::string points_data(const TraceBrowser& browser) {
  std::string text;
  for (const PointTraces& points : browser.points) {
    const auto plot = std::find_if(browser.result.plots.begin(), browser.result.plots.end(),
                                   [&](const Plot& one) { return one.key == points.plot_key; });
    if (plot == browser.result.plots.end()) continue;
    std::string lists;
    for (const std::vector<std::size_t>& traces : points.of_point)
      lists += fmt::format("{}[{}]", lists.empty() ? "" : ",", fmt::join(traces, ","));
    text += fmt::format("{}{{\"plot\":{},\"series\":{},\"traces\":[{}]}}", text.empty() ? "" : ",\n",
                        plot - browser.result.plots.begin(), points.series, lists);
  }
  return fmt::format("[{}]", text);
}

std::string flags_data() {
  std::string text;
  for (const FlagWords& words : flag_table) {
    text +=
        fmt::format("{}{{\"bit\":{},\"name\":{},\"sentence\":{}}}", text.empty() ? "" : ",",
                    static_cast<std::uint32_t>(words.flag), json_text(words.name), json_text(words.sentence));
  }
  return fmt::format("[{}]", text);
}

std::string options(const std::vector<std::string>& labels, std::size_t chosen) {
  std::string text;
  for (std::size_t at = 0; at < labels.size(); ++at) {
    text += fmt::format("<option value=\"{}\"{}>{}</option>", at, at == chosen ? " selected" : "",
                        html(labels[at]));
  }
  return text;
}

std::vector<std::string> group_labels(const TraceBrowser& browser) {
  std::vector<std::string> labels;
  for (const TraceGroup& group : browser.groups)
    labels.push_back(fmt::format("{} ({} of {})", group.label, group.traces.size(), group.pulses));
  return labels;
}

// The frame of a plot that the script fills: what stands under it, and beside the buttons that every plot
// has.
std::string figure_html(const char* id, const char* title, const char* under, const char* caption,
                        const char* buttons, const char* hint) {
  return fmt::format(
      "<figure id=\"{0}\">\n<h3>{1}</h3>\n<div class=\"legend\"></div>\n<div class=\"frame\"><canvas "
      "tabindex=\"0\" "
      "role=\"img\" aria-label=\"Plot: {1}. {3}\"></canvas></div>\n<p class=\"told\" "
      "aria-live=\"polite\"></p>\n{2}"
      "<figcaption>{3}</figcaption>\n<div class=\"tools\">{4}<button type=\"button\" class=\"csv\">Points as "
      "CSV</button><button type=\"button\" class=\"whole\" hidden>Whole range</button>{5}</div>\n</figure>\n",
      id, title, under, caption, buttons, hint);
}

}  // namespace

std::string trace_window_html(const TraceBrowser& browser) {
  std::string text = "<section id=\"window\"><h2>Traces</h2>\n<div class=\"choose\">\n";
  text += fmt::format(
      "<label>Show <select id=\"group\">{}<option value=\"picked\" hidden></option></select></label>\n",
      options(group_labels(browser), 0));
  text +=
      "<span class=\"steps\"><button type=\"button\" id=\"previous\" aria-label=\"Previous pulse\">← "
      "Previous</button>"
      "<span id=\"position\"></span>"
      "<button type=\"button\" id=\"next\" aria-label=\"Next pulse\">Next →</button></span>\n";
  text += fmt::format("<label>Times by <select id=\"method\">{}</select></label>\n</div>\n",
                      options(browser.methods, browser.method));
  text += "<p class=\"note\" id=\"rule\"></p>\n<div class=\"window-plots\">\n";
  text += figure_html(
      "trace", "Trace", "<output id=\"measured\"></output>\n",
      "Samples with the baseline, the time with one standard uncertainty to either side, and the channel's "
      "template where it was fitted. The time should stand on the edge; look for a second pulse, a tilted "
      "baseline or a cut-off top. Both pulses of a pair, each laid on its own time and drawn to its own "
      "height, should rise together: where the edges part, the difference depends on where it is read.",
      "<button type=\"button\" id=\"edge\" aria-pressed=\"false\">Edge</button>"
      "<button type=\"button\" id=\"both\" aria-pressed=\"false\">Both of the pair</button>"
      "<button type=\"button\" id=\"cursor-a\" aria-pressed=\"true\">Cursor A</button>"
      "<button type=\"button\" id=\"cursor-b\" aria-pressed=\"false\">Cursor B</button>",
      "<span class=\"hint\">Drag to zoom, click to set a cursor. By keys: ← → step through "
      "the pulses, ↑ ↓ through the "
      "lists, e shows the edge, p both pulses of a pair, a and b choose a cursor, comma and point move it by "
      "a "
      "sample, + − 0 zoom.</span>");
  text += figure_html("residual", "Residual", "",
                      "Trace less fit, and one standard deviation of the noise to either side, dashed. Two "
                      "samples in three should lie "
                      "between these; a wiggle on the edge is a pulse of another shape or a wrong time.",
                      "", "");
  return text +
         "</div>\n<div class=\"table\"><h3>This pulse by every method</h3>\n<div class=\"scroll\" "
         "tabindex=\"0\" "
         "role=\"region\" aria-label=\"This pulse by every method\"><table id=\"pulse\"></table></div>\n"
         "<ul class=\"cautions\" id=\"flag-words\"></ul></div>\n</section>\n";
}

std::string trace_window_data(const TraceBrowser& browser) {
  std::string traces;
  for (const BrowsedTrace& trace : browser.traces)
    traces += fmt::format("{}{}", traces.empty() ? "" : ",\n", trace_data(trace));
  return fmt::format(
      "<script type=\"application/json\" "
      "id=\"traces\">{{\"channels\":{},\"methods\":{},\"flags\":{},\n\"groups\":{},\n"
      "\"points\":{},\n\"traces\":[{}]}}</script>\n",
      texts(browser.channels), texts(browser.methods), flags_data(), groups_data(browser),
      points_data(browser), traces);
}

}  // namespace firstedge
