// Claims of the small parts of the text reader: numbers, fields, units, titles, dialects, headers, time axes.
#include "firstedge/io/text_dialect.hpp"
#include "firstedge/io/text_header.hpp"
#include "firstedge/io/text_numbers.hpp"
#include "firstedge/io/text_source.hpp"
#include "firstedge/io/text_time_axis.hpp"
#include "firstedge/io/text_units.hpp"

#include "support/random.hpp"
#include "support/text_reading.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

std::vector<std::string> fields_of(std::string_view line, char delimiter) {
  std::vector<std::string> fields;
  FieldCursor cursor(line, delimiter);
  while (const auto field = cursor.next()) fields.emplace_back(field->text);
  return fields;
}

std::vector<std::string> lines_of(std::string_view text) {
  TextSource source(test::source_of(text));
  std::vector<std::string> lines;
  while (const auto line = source.next_line()) lines.emplace_back(*line);
  return lines;
}

TEST(text_numbers, a_number_is_the_nearest_double_with_either_decimal_sign) {
  EXPECT_EQ(parse_number("0.1", '.'), 0.1);
  EXPECT_EQ(parse_number("+1.5e-3", '.'), 1.5e-3);
  EXPECT_EQ(parse_number("-2,5E+2", ','), -250.0);
  EXPECT_EQ(parse_number("12", ','), 12.0);
  EXPECT_EQ(parse_number(",5", ','), 0.5);
  EXPECT_EQ(parse_number("1e-400", '.'), 0.0);
  for (const char* text : {"", "1,5", "1.5x", "0x10", "1 2", "--1", "+-1", "e5", "1e999", "-1e999"}) {
    EXPECT_FALSE(parse_number(text, '.').has_value()) << text;
  }
  for (const char* text : {"1.5", "1,", "1,e5", "1.234,5", "1,2,3"}) {
    EXPECT_FALSE(parse_number(text, ',').has_value()) << text;
  }
}

TEST(text_numbers, every_number_of_digits_decimals_and_exponent_is_the_one_of_from_chars) {
  // The short way of plain_decimal against the standard's, at both sides of every limit it has, with and
  // without more of the line behind it.
  test::Random random(5);
  for (int round = 0; round < 20000; ++round) {
    const auto digits = static_cast<std::size_t>(random.uniform(1, 23));
    const auto point = static_cast<std::size_t>(random.uniform(0, static_cast<double>(digits) + 1));
    std::string text;
    if (random.uniform(0, 1) < 0.5) text += '-';
    for (std::size_t i = 0; i < digits; ++i) {
      if (i == point) text += '.';
      text += static_cast<char>('0' + static_cast<int>(random.uniform(0, 10)));
    }
    if (random.uniform(0, 1) < 0.5) {
      text += random.uniform(0, 1) < 0.5 ? 'e' : 'E';
      text += std::to_string(static_cast<int>(random.uniform(-40, 40)));
    }
    double value = 0;
    std::from_chars(text.data(), text.data() + text.size(), value);
    ASSERT_EQ(parse_number(text, '.'), value) << text;
    for (const char* behind : {",-0.125,7", ";12345678", " ", "e", "e+", "e-x", "\t1e5"}) {
      const std::string line = text + behind;
      const LeadingNumber number = leading_number(line, '.');
      double leading = 0;
      const auto end = std::from_chars(line.data(), line.data() + line.size(), leading).ptr;
      ASSERT_EQ(number.value, leading) << line;
      ASSERT_EQ(number.length, static_cast<std::size_t>(end - line.data())) << line;
    }
    std::replace(text.begin(), text.end(), '.', ',');
    ASSERT_EQ(parse_number(text, ','), value) << text;
  }
}

TEST(text_numbers, nan_and_inf_are_numbers_that_are_none) {
  for (const char* text : {"nan", "NaN", "-nan", "inf", "-INF", "Infinity"}) {
    const auto value = parse_number(text, '.');
    ASSERT_TRUE(value.has_value()) << text;
    EXPECT_TRUE(std::isnan(*value)) << text;
  }
}

TEST(text_numbers, marks_of_lost_values_are_told_from_text_and_numbers) {
  for (const char* text : {"--", "-", "****", "OVERFLOW", "Over", "n/a", "#N/A", "-OL"}) {
    EXPECT_EQ(kind_of_field(text, '.'), FieldKind::lost) << text;
  }
  EXPECT_EQ(kind_of_field("Interval", '.'), FieldKind::text);
  EXPECT_EQ(kind_of_field("1e999", '.'), FieldKind::number);
  EXPECT_EQ(kind_of_field("", '.'), FieldKind::empty);
}

TEST(text_numbers, fields_lose_their_quotes_and_keep_the_delimiters_inside) {
  EXPECT_THAT(fields_of("1;\" a;b \"; 3 ;", ';'), ElementsAre("1", "a;b", "3", ""));
  EXPECT_THAT(fields_of("\"1,5\",\"2,5\"", ','), ElementsAre("1,5", "2,5"));
  EXPECT_THAT(fields_of("  1 \t 2  ", ' '), ElementsAre("1", "2"));
  EXPECT_THAT(fields_of("1\t\t3", '\t'), ElementsAre("1", "", "3"));
  EXPECT_THAT(fields_of("\"open,2", ','), ElementsAre("\"open", "2"));
  EXPECT_THAT(fields_of("\"say \"\"a,b\"\"\",2", ','), ElementsAre("say \"\"a,b\"\"", "2"));
  EXPECT_THAT(fields_of("", ','), ElementsAre(""));
  EXPECT_TRUE(fields_of("   ", ' ').empty());
}

TEST(text_source, lines_end_with_lf_crlf_or_cr_and_the_last_needs_no_end) {
  EXPECT_THAT(lines_of("a\nb\n"), ElementsAre("a", "b"));
  EXPECT_THAT(lines_of("a\r\nb"), ElementsAre("a", "b"));
  EXPECT_THAT(lines_of("a\rb\r\rc"), ElementsAre("a", "b", "", "c"));
  EXPECT_THAT(lines_of("a\r\r\nb\r\r\n"), ElementsAre("a", "b"));
  EXPECT_THAT(lines_of("\xEF\xBB\xBF"
                       "a\n\nb"),
              ElementsAre("a", "", "b"));
  EXPECT_TRUE(lines_of("").empty());
}

TEST(text_source, lines_are_the_same_wherever_the_blocks_end) {
  // Three MiB of lines of every length from 0 to 2,000: block borders fall into lines and line ends.
  std::string text;
  std::vector<std::string> lines;
  for (std::size_t length = 0; text.size() < (std::size_t{3} << 20U); length = (length + 37) % 2001) {
    lines.emplace_back(length, static_cast<char>('a' + lines.size() % 26));
    text += lines.back() + "\r\n";
  }
  EXPECT_EQ(lines_of(text), lines);
}

TEST(text_source, lines_ahead_are_whole_and_are_not_taken) {
  TextSource source(test::source_of("first\nsecond\nthird"));
  EXPECT_THAT(source.lines_ahead(8), ElementsAre("first"));
  EXPECT_THAT(source.lines_ahead(1000), ElementsAre("first", "second", "third"));
  EXPECT_EQ(source.next_line(), "first");
  EXPECT_EQ(source.place(), "run.csv, line 1");
}

TEST(text_units, units_are_known_in_the_spellings_people_use) {
  const auto factor = [](const char* text) { return parse_unit(text).value().factor; };
  EXPECT_EQ(factor("(ns)"), 1e-9);
  EXPECT_EQ(factor("[us]"), 1e-6);
  EXPECT_EQ(factor("µs"), 1e-6);
  EXPECT_EQ(factor("\xB5s"), 1e-6);  // Latin-1
  EXPECT_EQ(factor("mV"), 1e-3);
  EXPECT_EQ(factor("mv"), 1e-3);
  EXPECT_EQ(factor("Seconds"), 1);
  EXPECT_EQ(factor("GS/s"), 1e9);
  EXPECT_EQ(factor("MHz"), 1e6);
  EXPECT_EQ(parse_unit("counts").value().kind, TextUnit::Kind::count);
  for (const char* text : {"", "A", "x", "n s", "Vs", "()"}) EXPECT_FALSE(parse_unit(text)) << text;
}

TEST(text_units, a_title_comes_apart_into_name_and_unit) {
  const auto parts = [](const char* title) {
    const ColumnTitle one = parse_column_title(title);
    return one.name + "|" + (one.unit ? one.unit->symbol : "-");
  };
  EXPECT_EQ(parts("Time (ns)"), "Time|ns");
  EXPECT_EQ(parts("A [mV]"), "A|mV");
  EXPECT_EQ(parts("t/us"), "t|us");
  EXPECT_EQ(parts("time in ps"), "time|ps");
  EXPECT_EQ(parts("top_left_mV"), "top_left|mV");
  EXPECT_EQ(parts("V"), "V|V");
  EXPECT_EQ(parts("anode current (A)"), "anode current (A)|-");
  EXPECT_EQ(parse_column_title("anode (uA)").unknown_unit, "uA");
  EXPECT_EQ(parts("left_top"), "left_top|-");
}

TEST(text_units, text_from_files_becomes_utf8_without_control_characters) {
  EXPECT_EQ(readable("M\xFCller\x1b"), "Müller?");
  EXPECT_EQ(readable("5 µs\tx"), "5 µs x");
  EXPECT_EQ(readable(std::string(50, 'a') + "µµµ", 54), std::string(50, 'a') + "...");
}

TEST(text_header, facts_are_found_in_each_way_of_writing_them) {
  const auto interval = [](const std::string& line, TextDialect dialect) {
    const HeaderLine header{1, line};
    const HeaderFacts facts = facts_of(std::span(&header, 1), dialect, TimeScale::utc);
    return facts.interval_s ? facts.interval_s->value : -1;
  };
  const TextDialect comma{',', '.'}, semicolon{';', ','}, tab{'\t', '.'}, blank{' ', '.'};
  EXPECT_EQ(interval("Interval,1e-9", comma), 1e-9);
  EXPECT_EQ(interval("Sample Interval,0.2,ns", comma), 2e-10);
  EXPECT_EQ(interval("\"Increment\",\"0.2 ns\"", comma), 2e-10);
  EXPECT_EQ(interval("# dt = 0.2 ns", comma), 2e-10);
  EXPECT_EQ(interval("Interval (ns);0,2", semicolon), 2e-10);
  EXPECT_EQ(interval("Abtastung;1;x increment;0,2 ns", semicolon), 2e-10);
  EXPECT_EQ(interval("% SampleInterval: 0.2 ns", tab), 2e-10);
  EXPECT_EQ(interval("sample interval 0.2 ns", blank), 2e-10);
  EXPECT_EQ(interval("# x0 = -5 ns, dt = 0.2 ns", tab), 2e-10);
  EXPECT_EQ(interval("Sample rate,5 GS/s", comma), 2e-10);
  EXPECT_EQ(interval("sampling_frequency: 5e9", comma), 2e-10);
  for (const char* line : {"Interval", "Interval,x", "Interval,0", "Interval,-1 ns", "Interval,5 V",
                           "Interval,nan", "Trigger interval,1 s", "Count rate,5 kHz", "Interval,1e999"}) {
    EXPECT_EQ(interval(line, comma), -1) << line;
  }
}

TEST(text_header, start_length_units_scale_and_trigger_are_found) {
  const std::vector<HeaderLine> header{
      {1, "Start,-20,ns"}, {2, "Record length,1000"},     {3, "Vertical unit,mV"},
      {4, "Time unit,us"}, {5, "Volts per count,0.5 mV"}, {6, "Trigger time,2026-11-25 06:37:00.25Z"},
      {7, "Start,99 ns"}};
  const HeaderFacts facts = facts_of(header, {',', '.'}, TimeScale::utc);
  EXPECT_EQ(facts.first_sample_s.value().value, -2e-8);
  EXPECT_EQ(facts.first_sample_s.value().from, "line 1 ('Start,-20,ns')");
  EXPECT_EQ(facts.samples.value().value, 1000U);
  EXPECT_EQ(facts.voltage_unit.value().value.factor, 1e-3);
  EXPECT_EQ(facts.time_unit.value().value.factor, 1e-6);
  EXPECT_EQ(facts.volts_per_count.value().value, 5e-4);
  EXPECT_EQ(to_text(facts.trigger.value().value), "2026-11-25T06:37:00.250000000000000Z");
}

TEST(text_header, a_row_of_units_gives_that_of_the_voltages_only_if_they_share_it) {
  const auto facts_in = [](const char* text) {
    const HeaderLine header{2, text};
    return facts_of(std::span(&header, 1), {',', '.'}, TimeScale::utc);
  };
  EXPECT_EQ(facts_in("Units,ns,mV,mV").time_unit.value().value.factor, 1e-9);
  EXPECT_EQ(facts_in("Units,ns,mV,mV").voltage_unit.value().value.factor, 1e-3);
  EXPECT_FALSE(facts_in("Units,ns,mV,V").voltage_unit);
  EXPECT_FALSE(facts_in("Owner,ns,mV,mV").time_unit);
}

TEST(text_header, a_wall_clock_time_is_no_first_sample) {
  const HeaderLine header{1, "Start time: 12:03:11"};
  EXPECT_FALSE(facts_of(std::span(&header, 1), {',', '.'}, TimeScale::utc).first_sample_s);
}

// Times printed with a fixed number of decimals.
std::vector<double> printed_times(double first, double interval, std::size_t count, int decimals) {
  std::vector<double> times(count);
  const double unit = std::pow(10.0, decimals);
  for (std::size_t i = 0; i < count; ++i) {
    times[i] = std::round((first + static_cast<double>(i) * interval) * unit) / unit;
  }
  return times;
}

TEST(text_time_axis, even_times_give_their_interval_to_the_last_bit) {
  const TimeAxisFit fit = fit_time_axis(printed_times(-20, 0.2, 1000, 1));
  ASSERT_FALSE(fit.fault);
  EXPECT_EQ(fit.axis.interval, 0.2);
  EXPECT_EQ(fit.axis.first, -20);
  EXPECT_EQ(fit.rounding, 0);
}

TEST(text_time_axis, rounding_by_printing_is_fitted_away_within_the_stated_bounds) {
  for (const double interval : {0.3125, 0.4, 1.25, 1.6, 2.5, 3.7, 12.8}) {
    for (const std::size_t count : {10U, 101U, 1000U}) {
      const auto times = printed_times(-7.3, interval, count, 0);
      const TimeAxisFit fit = fit_time_axis(times);
      ASSERT_FALSE(fit.fault) << interval << " " << count << " " << fit.fault->problem;
      // The header's bounds, with q = 1: 2 q / n and q.
      EXPECT_NEAR(fit.axis.interval, interval, 2.0 / static_cast<double>(count)) << count;
      EXPECT_NEAR(fit.axis.first, -7.3, 1.0) << interval << " " << count;
    }
  }
}

TEST(text_time_axis, numbers_with_exponents_are_held_against_their_own_digits) {
  std::vector<double> times;
  for (int i = 0; i < 1000; ++i) times.push_back(std::stod(fmt::format("{:.3e}", -3e-8 + i * 1.1e-10)));
  const TimeAxisFit fit = fit_time_axis(times);
  ASSERT_FALSE(fit.fault) << fit.fault->problem;
  // Four digits at 7.99e-8: q = 1e-11, so 2 q / n = 2e-14.
  EXPECT_NEAR(fit.axis.interval, 1.1e-10, 2e-14);
}

TEST(text_time_axis, a_missing_row_is_named_wherever_it_stands) {
  for (const double interval : {0.2, 1.0, 3.7, 25.0}) {
    for (const std::size_t gap : {1U, 2U, 50U, 98U, 99U}) {
      auto times = printed_times(-7, interval, 101, interval < 1 ? 1 : 0);
      times.erase(times.begin() + static_cast<std::ptrdiff_t>(gap));
      const TimeAxisFit fit = fit_time_axis(times);
      ASSERT_TRUE(fit.fault) << interval << " " << gap;
      EXPECT_EQ(fit.fault->row, gap) << interval;
      EXPECT_THAT(fit.fault->problem, HasSubstr("jumps by"));
    }
  }
}

TEST(text_time_axis, equal_falling_lone_and_drifting_times_are_faults) {
  const auto fault = [](const std::vector<double>& times) {
    const TimeAxisFit fit = fit_time_axis(times);
    return fit.fault ? fmt::format("{}: {}", fit.fault->row, fit.fault->problem) : "none";
  };
  EXPECT_THAT(fault({0, 1, 1, 2, 3}), HasSubstr("2: is equal to the one before"));
  EXPECT_THAT(fault({0, 1, 0.5, 2, 3}), HasSubstr("2: goes back by 0.5"));
  EXPECT_THAT(fault({5}), HasSubstr("one row gives no interval"));
  EXPECT_THAT(fault({}), HasSubstr("one row gives no interval"));
  EXPECT_NE(fault({2, 2, 2, 2}), "none");
  EXPECT_NE(fault({3, 2, 1, 0}), "none");
  EXPECT_NE(fault({0, 1e308, -1e308, 1e308}), "none");
  std::vector<double> chirp;
  for (int i = 0; i < 100; ++i) chirp.push_back(i + 1e-3 * i * i);
  EXPECT_NE(fault(chirp), "none");
}

TEST(text_time_axis, a_known_interval_places_the_first_sample) {
  for (const double interval : {0.4, 1.6, 20.0}) {
    const TimeAxisFit fit = place_time_axis(printed_times(-7.3, interval, 100, 0), interval);
    ASSERT_FALSE(fit.fault) << interval;
    EXPECT_EQ(fit.axis.interval, interval);
    EXPECT_NEAR(fit.axis.first, -7.3, 0.5);  // the mean of roundings of at most 0.5 each
  }
  EXPECT_EQ(place_time_axis(std::vector<double>{3.0}, 1.0).axis.first, 3.0);
}

TEST(text_time_axis, a_known_interval_does_not_hide_a_missing_row_or_another_interval) {
  for (const double interval : {1.0, 2.0, 20.0}) {
    auto times = printed_times(0, interval, 100, 0);
    times.erase(times.begin() + 60);
    const TimeAxisFit fit = place_time_axis(times, interval);
    ASSERT_TRUE(fit.fault) << interval;
    EXPECT_EQ(fit.fault->row, 60U);
  }
  EXPECT_TRUE(place_time_axis(printed_times(0, 1, 100, 0), 2).fault);
}

}  // namespace
}  // namespace firstedge
