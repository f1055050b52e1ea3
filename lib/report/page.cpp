// A Result as a page: one HTML file that opens offline.
//
// Safety. Names and numbers in a Result come from files. Every text is escaped on its way into HTML (html())
// and into the embedded data (plots_data()), and a Content-Security-Policy forbids everything but the scripts
// and the style that stand in the page, by their digests: should an escape ever be missing, nothing runs and
// nothing is fetched.
//
// Plot library. Chart.js, as Debian ships it (libjs-chart.js, 200 kB, MIT licence): it draws bins, lines,
// scatters and both kinds of axes on a crisp canvas, needs no eval, and takes our error bars and marked
// values as small plug-ins. libjs-dygraphs is lighter (131 kB) but wants one common table of x for all series
// and knows neither points with error bars of their own nor bins; libjs-vega weighs three times as much,
// comes without the d3 parts that it needs in a browser, and evaluates its expressions with eval unless told
// not to.
#include "firstedge/core/digest.hpp"
#include "firstedge/report/base64.hpp"
#include "firstedge/report/page_parts.hpp"
#include "firstedge/report/report.hpp"

#include <regex>

#include <fmt/format.h>

namespace firstedge {
namespace {

// The bytes that a digest in hexadecimal stands for.
std::vector<std::byte> bytes_of_hex(const std::string& hex) {
  const auto value = [](char digit) { return digit <= '9' ? digit - '0' : digit - 'a' + 10; };
  std::vector<std::byte> bytes;
  for (std::size_t at = 0; at + 1 < hex.size(); at += 2)
    bytes.push_back(static_cast<std::byte>(16 * value(hex[at]) + value(hex[at + 1])));
  return bytes;
}

// 'sha256-...' as a Content-Security-Policy names a script or a style (W3C CSP Level 3, section 2.3.1).
std::string source_of(std::string_view content) {
  return "'sha256-" + base64(bytes_of_hex(sha256(std::as_bytes(std::span(content))))) + "'";
}

std::string head(const Result& result, std::string_view own_script) {
  const std::string own_source = own_script.empty() ? "" : fmt::format(" {}", source_of(own_script));
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src {} {} {}{}; "
      "style-src {}; "
      "base-uri 'none'; form-action 'none'\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta name=\"referrer\" "
      "content=\"no-referrer\">\n<title>{}</title>\n<style>{}</style>\n<script>{}</script>\n"
      "</head>\n",
      source_of(page_theme_script()), source_of(plot_library_script()), source_of(page_script()), own_source,
      source_of(page_style()), html(result.title), page_style(), page_theme_script());
}

// A sentence with true minus signs before its numbers; dates and names with hyphens stay as they are.
std::string with_true_minuses(std::string sentence) {
  for (std::size_t at = 0; (at = sentence.find('-', at)) != std::string::npos; ++at) {
    const bool starts = at == 0 || sentence[at - 1] == ' ' || sentence[at - 1] == '(';
    const bool number = at + 1 < sentence.size() && sentence[at + 1] >= '0' && sentence[at + 1] <= '9';
    if (starts && number) sentence.replace(at, 1, "−");
  }
  return sentence;
}

// Instants such as 2026-11-25T12:00:27, which a line would break at their hyphens, on one line; those of many
// decimals are too long for a phone.
std::string with_whole_instants(const std::string& sentence) {
  static const std::regex instant(R"([0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:]{8}Z?(?![0-9.]))");
  return std::regex_replace(sentence, instant, "<span class=\"whole\">$&</span>");
}

std::string list_items(const std::vector<std::string>& items) {
  std::string text;
  for (const std::string& item : items) text += "<li>" + html(item) + "</li>\n";
  return text;
}

std::string opening(const Result& result) {
  std::string text = fmt::format(
      "<header>\n<div class=\"top\"><p class=\"kind\">{}</p><button type=\"button\" id=\"theme\" "
      "hidden></button></div>\n"
      "<h1>{}</h1>\n<p class=\"answer\">{}</p>\n",
      html(result.kind), html(result.title),
      with_whole_instants(held_together(html(with_true_minuses(result.answer)))));
  if (!result.warnings.empty()) {
    text += fmt::format("<section class=\"warnings\"><h2>{}</h2>\n<ul>\n{}</ul></section>\n",
                        result.warnings.size() == 1 ? "Warning" : "Warnings", list_items(result.warnings));
  }
  return text + "</header>\n";
}

std::string shown_estimate(const Figure& figure) {
  std::string text = as_printed(format_estimate(figure.estimate, figure.unit));
  // A plain number needs no brackets that a unit or a power of ten would stand behind.
  if (text.starts_with('(') && text.ends_with(')')) text = text.substr(1, text.size() - 2);
  return html(text);
}

std::string figures(const Result& result) {
  if (result.figures.empty()) return "";
  std::string text = "<section><h2>Key figures</h2>\n<dl class=\"figures\">\n";
  for (const Figure& figure : result.figures) {
    text += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>\n", html(figure.label), shown_estimate(figure));
  }
  return text + "</dl></section>\n";
}

// What a kind of page has beside what every page has.
struct OwnParts {
  std::string_view id, title;  // of its section, for the list of contents
  std::string section;         // before the plots
  std::string data;            // for its script, an element
  std::string_view script;     // runs after that of every page
};

// Links to the plots and tables of a long page.
std::string contents(const Result& result, const OwnParts& own) {
  constexpr std::size_t short_page = 3;
  if (result.plots.size() + result.tables.size() <= short_page) return "";
  std::string text = "<nav class=\"contents\" aria-label=\"Contents\">On this page";
  if (!own.section.empty()) text += fmt::format(" <a href=\"#{}\">{}</a>", own.id, own.title);
  for (std::size_t at = 0; at < result.plots.size(); ++at)
    text += fmt::format(" <a href=\"#plot-{}\">{}</a>", at + 1, html(result.plots[at].title));
  for (std::size_t at = 0; at < result.tables.size(); ++at)
    text += fmt::format(" <a href=\"#table-{}\">{}</a>", at + 1, html(result.tables[at].title));
  return text + " <a href=\"#made\">How it was made</a></nav>\n";
}

std::string plots(const Result& result) {
  if (result.plots.empty()) return "";
  std::string text = result.plots.size() == 1 ? "<section><h2>Plot</h2>\n" : "<section><h2>Plots</h2>\n";
  text +=
      "<noscript><p>The plots are drawn by a script in this file, and scripts are switched "
      "off.</p></noscript>\n";
  text += "<div class=\"plots\">\n";
  for (std::size_t at = 0; at < result.plots.size(); ++at) {
    const Plot& plot = result.plots[at];
    const std::string caption = plot.caption + (plot.caption.empty() ? "" : " ") + thinning_note(plot);
    text += fmt::format(
        "<figure id=\"plot-{0}\" data-plot=\"{1}\">\n<h3>{2}</h3>\n<div class=\"legend\"></div>\n"
        "<div class=\"frame\"><canvas tabindex=\"0\" role=\"img\" aria-label=\"Plot: {2}. "
        "{3}\"></canvas></div>\n"
        "<p class=\"told\" aria-live=\"polite\"></p>\n<figcaption>{3}</figcaption>\n"
        "<div class=\"tools\"><button type=\"button\" class=\"csv\">Points as CSV</button>"
        "<button type=\"button\" class=\"whole\" hidden>Whole range</button>"
        "<span class=\"hint\">Drag to zoom. By keys: arrows read points off, + − 0 "
        "zoom.</span></div>\n</figure>\n",
        at + 1, at, html(plot.title), html(caption));
  }
  return text + "</div></section>\n";
}

std::string tables(const Result& result) {
  if (result.tables.empty()) return "";
  std::string text = result.tables.size() == 1 ? "<section><h2>Table</h2>\n" : "<section><h2>Tables</h2>\n";
  for (std::size_t at = 0; at < result.tables.size(); ++at)
    text += table_html(result.tables[at], fmt::format("table-{}", at + 1));
  return text + "</section>\n";
}

std::string made_row(std::string_view term, const std::string& description) {
  return fmt::format("<dt>{}</dt><dd>{}</dd>\n", term, description);
}

std::string provenance(const Provenance& made) {
  std::string text = "<section id=\"made\"><h2>How it was made</h2>\n<dl class=\"made\">\n";
  if (!made.program.empty()) text += made_row("Program", html(made.program + " " + made.version));
  if (!made.command.empty()) text += made_row("Command", "<code>" + html(made.command) + "</code>");
  for (const auto& [name, value] : made.options) text += made_row(html(name), html(value));
  if (!made.setup.empty()) {
    text += made_row(
        "Setup", fmt::format("<details><summary>{} bytes, as it was read</summary><pre>{}</pre></details>",
                             made.setup.size(), html_lines(made.setup)));
  }
  text += "</dl>\n";
  if (!made.inputs.empty()) {
    Table inputs{.title = made.inputs.size() == 1 ? "Input" : "Inputs",
                 .note = "A file with the same digest is the same file, byte for byte.",
                 .columns = {{"name", "File", ""}, {"bytes", "Bytes", ""}, {"sha256", "SHA-256", ""}}};
    for (const Provenance::Input& input : made.inputs)
      inputs.rows.push_back({input.name, static_cast<double>(input.bytes), input.sha256});
    text += table_html(inputs, "inputs");
  }
  return text + "</section>\n";
}

// Common practice, no source; they stand on every page, since what a page says is acted upon at a bench.
constexpr std::string_view bench_cautions =
    "<li>Bias voltage can kill, and a cable stays charged: before anything is unplugged, exchanged or "
    "terminated, ramp the bias down, wait, and check that it is off.</li>\n"
    "<li>Radioactive sources are handled by those who are trained for it, and go back to their store.</li>\n"
    "<li>Nobody enters a beam area because of what a page shows or does not show: the interlock and those on "
    "shift say when it is safe.</li>\n"
    "<li>No number here is fit for an interlock, for dosimetry or for a decision about access.</li>\n"
    "<li>The rules of your own place come before everything that is said here.</li>\n";

std::string cautions(const Result& result) {
  std::string text = "<section id=\"cautions\"><h2>Cautions</h2>\n";
  if (!result.cautions.empty())
    text +=
        "<h3>About these numbers</h3>\n<ul class=\"cautions\">\n" + list_items(result.cautions) + "</ul>\n";
  return text + "<h3>At the bench and in the beam area</h3>\n<ul class=\"cautions\">\n" +
         std::string(bench_cautions) + "</ul></section>\n";
}

std::string page_of(const Result& result, const OwnParts& own) {
  std::string page = head(result, own.script) + "<body>\n<main>\n" + opening(result) + figures(result) +
                     contents(result, own) + own.section + plots(result) + tables(result) +
                     provenance(result.provenance) + cautions(result) + "</main>\n";
  page +=
      "<script type=\"application/json\" id=\"plots\">" + plots_data(result.plots) + "</script>\n" + own.data;
  page += fmt::format("<script>{}</script>\n<script>{}</script>\n", plot_library_script(), page_script());
  if (!own.script.empty()) page += fmt::format("<script>{}</script>\n", own.script);
  return page + "</body>\n</html>\n";
}

}  // namespace

std::string to_page(const Result& result) {
  return page_of(result, {});
}

std::string to_page(const TraceBrowser& browser) {
  return page_of(browser.result, {.id = "window",
                                  .title = "Traces",
                                  .section = trace_window_html(browser),
                                  .data = trace_window_data(browser),
                                  .script = trace_window_script()});
}

}  // namespace firstedge
