#include "unit/report/sample_result.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

double bell(double x, double middle, double spread) {
  return std::exp(-0.5 * std::pow((x - middle) / spread, 2));
}

Plot differences_plot() {
  Plot plot{.key = "differences",
            .title = "Time of B minus time of A",
            .caption =
                "Look for tails outside the Gaussian core: they tell of wrong peaks or of records that jump.",
            .x = {.label = "Time difference", .unit = "s"},
            .y = {.label = "Pairs a bin"}};
  Series bins{.label = "Pairs", .kind = Series::Kind::bars}, fit{.label = "Gaussian core"};
  test::Random random(1);
  constexpr double mean_s = 123.4e-12, spread_s = 41.3e-12, bin_s = 6e-12;
  for (int bin = -30; bin <= 30; ++bin) {
    const double at = 120e-12 + bin * bin_s;
    const double expected = 580 * bell(at, mean_s, spread_s) + 4;
    bins.x.push_back(at);
    bins.y.push_back(std::max(0.0, std::round(expected + std::sqrt(expected) * random.normal(0, 1))));
    bins.y_uncertainty.push_back(std::sqrt(bins.y.back()));
  }
  for (int point = 0; point <= 300; ++point) {
    const double at = bins.x.front() + point * 1.2e-12;
    fit.x.push_back(at);
    fit.y.push_back(580 * bell(at, mean_s, spread_s));
  }
  plot.series = {bins, fit};
  plot.markers = {
      {mean_s, true, "mean"}, {mean_s - spread_s, true, "−1 s.d."}, {mean_s + spread_s, true, "+1 s.d."}};
  return plot;
}

Plot walk_plot() {
  Plot plot{.key = "jitter_against_height",
            .title = "Jitter against pulse height",
            .caption = "The measured spread should keep close to the bound and fall as one over the height.",
            .x = {.label = "Pulse height", .unit = "V", .logarithmic = true},
            .y = {.label = "Spread of one sensor", .unit = "s"}};
  Series leading{.label = "Leading edge, 20 mV", .kind = Series::Kind::points};
  Series fraction{.label = "Constant fraction, 30 %", .kind = Series::Kind::points};
  Series bound{.label = "Cramér-Rao bound"};
  test::Random random(2);
  for (int step = 0; step <= 14; ++step) {
    const double height_v = 0.012 * std::pow(10.0, step / 7.0);
    const double least_s = 1.1e-12 / height_v;
    leading.x.push_back(height_v);
    leading.y.push_back(least_s * (1.65 + 0.08 * random.normal(0, 1)) + 9e-12);
    leading.y_uncertainty.push_back(0.07 * leading.y.back());
    fraction.x.push_back(height_v);
    fraction.y.push_back(least_s * (1.25 + 0.05 * random.normal(0, 1)) + 2e-12);
    fraction.y_uncertainty.push_back(0.05 * fraction.y.back());
    bound.x.push_back(height_v);
    bound.y.push_back(least_s);
  }
  plot.series = {leading, fraction, bound};
  plot.markers = {{18e-12, false, "sample clock, 18 ps"}, {0.02, true, "threshold"}};
  return plot;
}

Plot traces_plot() {
  Plot plot{
      .key = "traces",
      .title = "Eighty pulses of channel A, lined up at their times",
      .caption =
          "All edges should fall on the mean shape; a trace beside the bundle is a pulse timed wrongly.",
      .x = {.label = "Time from the stamp", .unit = "s"},
      .y = {.label = "Channel A", .unit = "V"}};
  test::Random random(3);
  Series mean{.label = "Mean shape"};
  for (int trace = 0; trace < 80; ++trace) {
    Series one{.label = "Pulses", .faint = true};
    const double height_v = -0.35 * (1 + 0.2 * random.normal(0, 1));
    for (int sample = -20; sample < 60; ++sample) {
      const double at = sample * 0.2e-9;
      const double shape =
          at < -2e-9 ? 0 : std::exp(-(at + 2e-9) / 4e-9) * (1 - std::exp(-(at + 2e-9) / 0.9e-9));
      one.x.push_back(at);
      one.y.push_back(1.9 * height_v * shape + 0.006 * random.normal(0, 1));
    }
    plot.series.push_back(one);
  }
  for (int sample = -200; sample < 590; ++sample) {
    const double at = sample * 0.02e-9;
    const double shape =
        at < -2e-9 ? 0 : std::exp(-(at + 2e-9) / 4e-9) * (1 - std::exp(-(at + 2e-9) / 0.9e-9));
    mean.x.push_back(at);
    mean.y.push_back(1.9 * -0.35 * shape);
  }
  plot.series.push_back(mean);
  return plot;
}

Plot spectrum_plot() {
  Plot plot{.key = "noise",
            .title = "Noise of the two channels",
            .caption = "A line that stands out is pick-up; the fall at the right is the digitizer's band.",
            .x = {.label = "Frequency", .unit = "Hz", .logarithmic = true},
            .y = {.label = "Power spectral density", .unit = "V^2/Hz", .logarithmic = true}};
  test::Random random(4);
  for (const auto& [label, level] : {std::pair{"A, with amplifier", 4e-15}, std::pair{"B, bare", 6e-16}}) {
    Series series{.label = label};
    for (int bin = 1; bin <= 1200; ++bin) {
      const double frequency_hz = bin * 2.1e6;
      const double density = level * (1 + 2e7 / frequency_hz) / (1 + std::pow(frequency_hz / 1.1e9, 4));
      const double line = std::abs(bin - 48) <= 1 ? 30 : 1;
      series.x.push_back(frequency_hz);
      series.y.push_back(density * line * std::exp(0.12 * random.normal(0, 1)));
    }
    plot.series.push_back(series);
  }
  plot.markers = {{100.8e6, true, "100.8 MHz"}};
  return plot;
}

Plot heights_plot() {
  Plot plot{.key = "heights",
            .title = "Pulse heights",
            .caption = "The pedestal stands at zero; the long tail to the right is the Landau's.",
            .x = {.label = "Height", .unit = "V"},
            .y = {.label = "Pulses a bin", .logarithmic = true}};
  test::Random random(5);
  Series a{.label = "A", .kind = Series::Kind::steps}, b{.label = "B", .kind = Series::Kind::steps};
  for (int bin = 0; bin < 120; ++bin) {
    const double at = -0.02 + bin * 0.005;
    const auto landau = [&](double peak, double width) {
      const double t = (at - peak) / width;
      return std::exp(-0.5 * (t + std::exp(-t)));
    };
    for (Series* series : {&a, &b}) {
      const double expected =
          series == &a ? 2600 * bell(at, 0, 0.006) + 900 * landau(0.16, 0.022) : 1400 * landau(0.09, 0.013);
      series->x.push_back(at);
      series->y.push_back(std::max(0.0, std::round(expected + std::sqrt(expected) * random.normal(0, 1))));
    }
  }
  plot.series = {a, b};
  plot.markers = {{0.16, true, "most probable, A"}, {0.09, true, "most probable, B"}};
  return plot;
}

Plot scatter_plot() {
  Plot plot{
      .key = "drift",
      .title = "Time difference through the run",
      .caption = "A slope is drift of a cable or of the clock; a step is a setting that somebody changed.",
      .x = {.label = "Record"},
      .y = {.label = "Time difference", .unit = "s"}};
  test::Random random(6);
  Series pairs{.label = "Pairs", .kind = Series::Kind::points}, mean{.label = "Mean of 250"};
  for (int record = 0; record < 6000; ++record) {
    pairs.x.push_back(record);
    pairs.y.push_back(123.4e-12 + 41e-12 * random.normal(0, 1) + 8e-12 * std::sin(record / 900.0));
  }
  for (int block = 0; block < 24; ++block) {
    double sum = 0;
    for (std::size_t at = 0; at < 250; ++at) sum += pairs.y[static_cast<std::size_t>(block) * 250 + at];
    mean.x.push_back(block * 250 + 125);
    mean.y.push_back(sum / 250);
    mean.y_uncertainty.push_back(41e-12 / std::sqrt(250));
  }
  plot.series = {pairs, mean};
  return plot;
}

Table methods_table() {
  return {
      .key = "methods",
      .title = "Spread of the pair by method",
      .note = "The bound is that of the mean pulse shape and the measured noise; ratio is spread over bound.",
      .columns = {{"method", "Method", ""},
                  {"offset", "Mean difference", "s"},
                  {"spread", "Standard deviation", "s"},
                  {"robust", "Robust width", "s"},
                  {"bound", "Cramér-Rao bound", "s"},
                  {"ratio", "Ratio", ""},
                  {"pairs", "Pairs used", ""},
                  {"left_out", "Left out", ""}},
      .rows = {{"leading edge, 20 mV", Estimate{131.2e-12, 1.24e-12}, Estimate{96.31e-12, 0.88e-12},
                Estimate{88.4e-12, 1.1e-12}, 33.1e-12, 2.91, 5962.0, 38.0},
               {"constant fraction, 30 %", Estimate{123.40e-12, 0.53e-12}, Estimate{41.32e-12, 0.38e-12},
                Estimate{40.9e-12, 0.47e-12}, 33.1e-12, 1.248, 5981.0, 19.0},
               {"delayed fraction", Estimate{122.9e-12, 0.61e-12}, Estimate{47.06e-12, 0.43e-12},
                Estimate{46.2e-12, 0.55e-12}, 33.1e-12, 1.422, 5981.0, 19.0},
               {"template fit", Estimate{123.71e-12, 0.435e-12}, Estimate{33.62e-12, 0.31e-12},
                Estimate{33.5e-12, 0.39e-12}, 33.1e-12, 1.016, 5996.0, 4.0},
               {"template fit, no walk correction", std::nan(""), std::nan(""), std::nan(""), 33.1e-12,
                std::nan(""), 0.0, 6000.0}}};
}

Table records_table() {
  Table table{.key = "records",
              .title = "Doubtful pairs",
              .note = "Kept in the stamp table with their flags; none entered the figures above.",
              .columns = {{"record", "Record", ""},
                          {"a", "Time in A", "s"},
                          {"b", "Time in B", "s"},
                          {"height", "Height in B", "V"},
                          {"flags", "Flags", ""}}};
  test::Random random(7);
  const std::array flags{"clipped", "poor_fit", "piled_up+poor_fit", "low_signal", "edge_of_record"};
  for (int row = 0; row < 64; ++row) {
    table.rows.push_back(
        {static_cast<double>(17 + row * 91), Estimate{1.24e-8 + 4e-11 * random.normal(0, 1), 4.2e-11},
         Estimate{1.25e-8 + 3e-10 * random.normal(0, 1), 1.9e-10}, -0.02 - 0.3 * random.uniform(0, 1),
         flags.at(static_cast<std::size_t>(row) % flags.size())});
  }
  return table;
}

}  // namespace

Result sample_result() {
  Result result{.kind = "Jitter of two channels",
                .title = "Skerry test line, bench run 12",
                .answer =
                    "Sensor B fires (123.71 ± 0.44) ps after sensor A, and the pair is good to "
                    "(33.62 ± 0.31) ps, 1.02 times the Cramér-Rao bound of these pulses."};
  result.figures = {{"offset", "Mean difference, B − A", {123.71e-12, 0.435e-12}, "s"},
                    {"spread", "Standard deviation of the pair", {33.62e-12, 0.31e-12}, "s"},
                    {"bound", "Cramér-Rao bound of the pair", {33.1e-12, -1}, "s"},
                    {"core", "Share in the Gaussian core", {0.9874, 0.0014}, ""},
                    {"rise", "Rise time 10–90 %, sensor B", {0.903e-9, 0.012e-9}, "s"},
                    {"noise", "Noise of channel B", {4.12e-3, 0.03e-3}, "V"},
                    {"density", "Noise density at 100 MHz", {6.1e-16, 0.2e-16}, "V^2/Hz"},
                    {"pairs", "Pairs used", {5996, -1}, ""}};
  result.plots = {differences_plot(), walk_plot(),    traces_plot(),
                  spectrum_plot(),    heights_plot(), scatter_plot()};
  result.tables = {methods_table(), records_table()};
  result.warnings = {"Channel B is clipped in 11 of 6000 records: their stamps are flagged and left out.",
                     "Channel A picks up 100.8 MHz at 1.9 mV: a notch would lower the noise by 4 %."};
  result.cautions = {"The bound takes the noise for stationary; it was measured before the pulse only.",
                     "Delays of the cables are not taken out: no chain is given in the setup."};
  result.provenance = {
      .program = "firstedge-jitter",
      .version = "0.1.0",
      .command = "firstedge-jitter --channels A,B --method template --page run12.html run12.h5",
      .inputs = {{"run12.h5", 48'213'904, std::string(60, 'a') + "7f3c"},
                 {"run12_template.h5", 18'272, std::string(60, '4') + "09be"}},
      .setup = "{\n  \"bench\": \"Skerry test line\",\n  \"channels\": {\"A\": {}, \"B\": {}}\n}\n",
      .options = {{"method", "template"}, {"seed", "20240611"}}};
  return result;
}

Result hostile_result() {
  const std::string script = "<script>document.title='taken'</script>";
  const std::string closing = "</script><img src=x onerror=\"document.title='taken'\">";
  const std::string quoted = "\"' onmouseover='document.title=1' x=\"";
  Result result{.kind = script + quoted, .title = closing + quoted, .answer = script + closing};
  result.figures = {{closing, script, {1e-12, 1e-13}, "s" + script}};
  result.warnings = {script};
  result.cautions = {closing};
  result.tables = {{.key = closing,
                    .title = closing + quoted,
                    .note = script,
                    .columns = {{script, script, "V</script>"}, {"b", closing, ""}},
                    .rows = {{script, closing}, {Estimate{1, 0.1}, quoted}}}};
  result.plots = {
      {.key = "../../" + closing,
       .title = closing + quoted,
       .caption = quoted + script,
       .x = {script, "<!--"},
       .y = {closing, "s</script>"},
       .series = {{.label = script, .x = {1, 2, 3}, .y = {1, std::nan(""), 3}},
                  {.label = closing + "\u2028", .kind = Series::Kind::points, .x = {1}, .y = {1e300}},
                  {.label = "<!--<script>", .x = {}, .y = {}}},
       .markers = {{2, true, script}, {2, false, closing}}}};
  result.provenance = {.program = script,
                       .version = closing,
                       .command = quoted + closing,
                       .inputs = {{script + closing, 1, quoted}},
                       .setup = "{\n" + closing + script,
                       .options = {{script, closing}}};
  return result;
}

Result awkward_result() {
  const double nan = std::nan("");
  const std::string word(180, 'w');
  Result result{.kind = "strain", .title = "A title that " + word, .answer = "An answer that " + word};
  result.figures = {{"k", "A label that " + word, {1e300, 1e299}, "V^2/Hz"},
                    {"n", "Nothing", {nan, nan}, "s"}};

  const auto plot = [&](const std::string& title, bool logarithmic, std::vector<Series> series) {
    result.plots.push_back({.key = title,
                            .title = title,
                            .caption = "Nothing here may stop the page.",
                            .x = {.label = "x", .unit = "s", .logarithmic = logarithmic},
                            .y = {.label = "y", .unit = "V", .logarithmic = logarithmic},
                            .series = std::move(series)});
  };
  plot("no series", false, {});
  plot("empty series", true, {{.label = "a"}});
  plot("one point", false, {{.label = "a", .x = {3e-9}, .y = {0.2}}});
  plot("one bin", false, {{.label = "a", .kind = Series::Kind::bars, .x = {3e-9}, .y = {12}}});
  plot("constant", false, {{.label = "a", .x = {1, 2, 3}, .y = {0, 0, 0}}});
  plot("no number", true,
       {{.label = "a", .kind = Series::Kind::steps, .x = {1, 2, 3}, .y = {nan, nan, nan}}});
  plot("nothing positive", true, {{.label = "a", .x = {-1, 0, -2}, .y = {0, -1, 0}}});
  plot("a gap", false, {{.label = "a", .x = {1, 2, 3, 4, 5}, .y = {1, 2, nan, 2, 1}}});
  plot("sizes differ", false, {{.label = "a", .x = {1, 2, 3}, .y = {1, 2}, .y_uncertainty = {0.1}}});
  plot("huge and tiny", false, {{.label = "a", .x = {1e-300, 1e300}, .y = {-1e308, 1e308}}});
  plot("unequal bins, logarithmic", true,
       {{.label = "a", .kind = Series::Kind::bars, .x = {1e-9, 1e-8, 1e-7, 1e-6}, .y = {5, 0, 50, 3}}});

  std::vector<Series> many;
  for (int series = 0; series < 14; ++series) {
    Series one{.label = fmt::format("series {} with a name that says more than there is room for", series),
               .kind = series % 2 == 0 ? Series::Kind::points : Series::Kind::line};
    for (int point = 0; point < 12; ++point) {
      one.x.push_back(point * 1e-9);
      one.y.push_back(std::sin(0.5 * point + series) + series);
    }
    many.push_back(one);
  }
  plot("many series", false, many);
  for (int marker = 0; marker < 9; ++marker) {
    result.plots.back().markers.push_back(
        {(5 + 0.1 * marker) * 1e-9, true, fmt::format("marked value {}", marker)});
    result.plots.back().markers.push_back({13.5 + 0.05 * marker, false, fmt::format("level {}", marker)});
  }

  Table wide{.key = "wide", .title = "Twenty-two columns", .rows = {{}, {}}};
  for (int column = 0; column < 22; ++column) {
    wide.columns.push_back({fmt::format("c{}", column), fmt::format("Column {}", column), "V"});
    wide.rows[0].emplace_back(Estimate{column * 1e-3, 1e-5});
    wide.rows[1].emplace_back(column == 3 ? Table::Cell(word) : Table::Cell(column * 1e-9));
  }
  result.tables = {wide, {.key = "none", .title = "No rows", .columns = {{"a", "A", "s"}}}};
  result.provenance.setup = word + word;
  return result;
}

}  // namespace firstedge
