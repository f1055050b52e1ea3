// Property: random traces, written in a random dialect, read back as the numbers that were printed.
#include "support/random.hpp"
#include "support/text_reading.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

enum class AxisIn { column, header, setup };

// One way of writing a run into a file.
struct Style {
  char delimiter = ',';
  char decimal = '.';
  bool quoted = false;
  bool byte_order_mark = false;
  bool trailing_delimiter = false;
  bool exponents = false;
  bool unit_line = false;
  bool blank_lines_between = false;
  bool header_repeated = false;
  AxisIn axis = AxisIn::column;
  std::string line_end = "\n";
  std::string comment;
  int decimals = 3;
  const char* time_unit = "ns";
  const char* voltage_unit = "mV";
  std::size_t channels = 1;
  std::size_t records = 1;
  std::size_t samples = 5;
  std::size_t notes = 0;
  double interval = 0.2;  // in time_unit
  double first = 0;
};

class StyleChooser {
 public:
  explicit StyleChooser(std::uint64_t seed) : random_(seed) {}

  Style choose() {
    Style style;
    style.delimiter = one_of<char>({',', ';', '\t', ' ', '|'});
    style.decimal = one_of<char>({'.', ','});
    style.quoted = (style.delimiter == ',' && style.decimal == ',') || coin();
    style.byte_order_mark = coin();
    style.trailing_delimiter = style.delimiter != ' ' && coin();
    style.exponents = coin();
    style.unit_line = coin();
    style.line_end = one_of<std::string>({"\n", "\r\n", "\r"});
    style.comment = one_of<std::string>({"", "# ", "% "});
    style.decimals = one_of<int>({1, 3, 6});
    style.time_unit = one_of<const char*>({"s", "ms", "us", "ns", "ps"});
    style.voltage_unit = one_of<const char*>({"V", "mV", "uV", "counts"});
    style.axis = one_of<AxisIn>({AxisIn::column, AxisIn::header, AxisIn::setup});
    // A lone column of decimal commas reads as two columns as well: two columns without a time column at
    // least.
    style.channels = one_of<std::size_t>({1, 2, 4}) + (style.axis == AxisIn::column ? 0 : 1);
    style.records = one_of<std::size_t>({1, 2, 5});
    style.samples = one_of<std::size_t>({3, 10, 100});
    style.notes = one_of<std::size_t>({0, 1, 7});
    style.header_repeated = style.records > 1 && coin();
    // Without an axis in the rows, something else has to separate records.
    style.blank_lines_between =
        style.records > 1 && ((style.axis != AxisIn::column && !style.header_repeated) || coin());
    style.interval = one_of<double>({0.2, 1, 2.5, 40});
    style.first = one_of<double>({0, -3, 12.5});
    return style;
  }
  double voltage() { return random_.normal(0, 20); }

 private:
  template <typename Value>
  Value one_of(const std::vector<Value>& values) {
    const double at = random_.uniform(0, static_cast<double>(values.size()));
    return values[std::min(values.size() - 1, static_cast<std::size_t>(at))];
  }
  bool coin() { return random_.uniform(0, 1) < 0.5; }

  test::Random random_;
};

struct Written {
  std::string text;
  std::vector<std::vector<std::vector<double>>> numbers;  // records, channels, samples: as printed
};

class Writer {
 public:
  Writer(const Style& style, StyleChooser& source) : style_(style), source_(source) {}

  Written write() {
    if (style_.byte_order_mark) written_.text += "\xEF\xBB\xBF";
    write_header();
    for (std::size_t record = 0; record < style_.records; ++record) {
      if (record > 0 && style_.blank_lines_between) written_.text += style_.line_end;
      if (record > 0 && style_.header_repeated) write_header();
      write_record();
    }
    return std::move(written_);
  }

 private:
  void line(const std::vector<std::string>& fields) {
    for (std::size_t i = 0; i < fields.size(); ++i) {
      if (i > 0) written_.text += style_.delimiter;
      written_.text += style_.quoted ? "\"" + fields[i] + "\"" : fields[i];
    }
    if (style_.trailing_delimiter) written_.text += style_.delimiter;
    written_.text += style_.line_end;
  }

  std::string with_decimal_sign(std::string number) const {
    std::replace(number.begin(), number.end(), '.', style_.decimal);
    return number;
  }

  void write_header() {
    for (std::size_t i = 0; i < style_.notes; ++i) {
      written_.text += fmt::format("{}note {}: bench at rest{}", style_.comment, i, style_.line_end);
    }
    if (style_.axis == AxisIn::header) {
      const auto setting = [&](const char* key, double value) {
        written_.text +=
            fmt::format("{}{} = {} {}{}", style_.comment, key,
                        with_decimal_sign(fmt::format("{:.1f}", value)), style_.time_unit, style_.line_end);
      };
      setting("interval", style_.interval);
      setting("start", style_.first);
    }
    std::vector<std::string> names, units;
    if (style_.axis == AxisIn::column) {
      names.emplace_back("Time");
      units.emplace_back(style_.time_unit);
    }
    for (std::size_t i = 0; i < style_.channels; ++i) {
      names.push_back(fmt::format("sensor_{}", static_cast<char>('a' + i)));
      units.emplace_back(style_.voltage_unit);
    }
    if (!style_.unit_line) {
      for (std::size_t i = 0; i < names.size(); ++i) names[i] += "(" + units[i] + ")";
    }
    written_.text += style_.comment;
    line(names);
    if (style_.unit_line) {
      written_.text += style_.comment;
      line(units);
    }
  }

  void write_record() {
    std::vector<std::vector<double>> numbers(style_.channels);
    for (std::size_t i = 0; i < style_.samples; ++i) {
      std::vector<std::string> fields;
      if (style_.axis == AxisIn::column) {
        fields.push_back(with_decimal_sign(
            fmt::format("{:.1f}", style_.first + static_cast<double>(i) * style_.interval)));
      }
      for (auto& channel : numbers) {
        const std::string printed = style_.exponents
                                        ? fmt::format("{:.{}e}", source_.voltage(), style_.decimals)
                                        : fmt::format("{:.{}f}", source_.voltage(), style_.decimals);
        channel.push_back(std::strtod(printed.c_str(), nullptr));
        fields.push_back(with_decimal_sign(printed));
      }
      line(fields);
    }
    written_.numbers.push_back(std::move(numbers));
  }

  const Style& style_;
  StyleChooser& source_;
  Written written_;
};

TEST(text_dialects, random_traces_come_back_as_they_were_printed_in_every_dialect) {
  StyleChooser chooser(20261125);
  for (int round = 0; round < 400; ++round) {
    const Style style = chooser.choose();
    const Written written = Writer(style, chooser).write();
    SCOPED_TRACE(fmt::format("round {}:\n{}", round, written.text.substr(0, 400)));
    const double time_factor = parse_unit(style.time_unit)->factor;
    Settings input("input");
    if (style.axis == AxisIn::setup) {
      input.set("interval", style.interval * time_factor);
      input.set("first_sample", style.first * time_factor);
    }
    const test::TextReading reading = test::read_text(written.text, input);
    ASSERT_EQ(reading.refusal, "");
    ASSERT_EQ(reading.records.size(), style.records);
    for (std::size_t record = 0; record < style.records; ++record) {
      ASSERT_EQ(test::damage_of(reading.records[record]), "");
      const auto& traces = reading.records[record].traces;
      ASSERT_EQ(traces.size(), style.channels);
      for (std::size_t channel = 0; channel < style.channels; ++channel) {
        EXPECT_EQ(reading.layout.voltages[channel].name,
                  fmt::format("sensor_{}", static_cast<char>('a' + channel)));
        ASSERT_EQ(test::printed_numbers(traces[channel]), written.numbers[record][channel]);
        // Half a unit of the last decimal that times have here, 0.05, bounds neither: 0.1 units divide every
        // interval and start, so that only double rounding is left.
        EXPECT_NEAR(traces[channel].interval_s, style.interval * time_factor, 1e-12 * time_factor);
        EXPECT_NEAR(traces[channel].first_sample_s, style.first * time_factor, 1e-12 * time_factor);
        EXPECT_EQ(traces[channel].volts_per_count, parse_unit(style.voltage_unit)->factor);
      }
    }
  }
}

}  // namespace
}  // namespace firstedge
