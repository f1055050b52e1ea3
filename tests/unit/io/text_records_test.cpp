// Claims of the text reader about one file: each way of writing records is read as it is meant, and damage is
// told.
#include "support/text_reading.hpp"

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::damage_of;
using test::printed_numbers;
using test::read_text;
using test::TextReading;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

Settings with(std::initializer_list<std::pair<const char*, Settings::Value>> values) {
  Settings input("input");
  for (const auto& [name, value] : values) input.set(name, value);
  return input;
}

Settings::Value text(const char* value) {
  return {std::string(value)};
}

std::vector<std::string> channels_of(const TextReading& reading) {
  std::vector<std::string> names;
  for (const VoltageColumn& voltage : reading.layout.voltages) names.push_back(voltage.name);
  return names;
}

// The one undamaged record of a text that holds nothing else.
TextRecord only_record(const TextReading& reading) {
  EXPECT_EQ(reading.refusal, "");
  EXPECT_EQ(reading.records.size(), 1U);
  if (reading.records.size() != 1) return {};
  EXPECT_EQ(damage_of(reading.records[0]), "");
  return reading.records[0];
}

void expect_trace(const TextTrace& trace, const std::vector<double>& numbers, double interval_s,
                  double first_sample_s, double volts_per_count) {
  EXPECT_EQ(printed_numbers(trace), numbers);
  // One rounding of the division by the power of ten of the unit.
  EXPECT_NEAR(trace.interval_s, interval_s, 1e-15 * interval_s);
  EXPECT_NEAR(trace.first_sample_s, first_sample_s, 1e-12 * interval_s);
  EXPECT_EQ(trace.volts_per_count, volts_per_count);
}

TEST(text_records, header_lines_titles_and_units_are_understood) {
  const TextReading reading = read_text(
      "Bench,7\nOperator note,\"a, b\"\n\nTime (ns),A (mV),B "
      "(V)\n-0.2,1.5,0.25\n0.0,1.6,0.5\n0.2,1.7,0.75\n");
  const TextRecord record = only_record(reading);
  ASSERT_EQ(record.traces.size(), 2U);
  expect_trace(record.traces[0], {1.5, 1.6, 1.7}, 2e-10, -2e-10, 1e-3);
  expect_trace(record.traces[1], {0.25, 0.5, 0.75}, 2e-10, -2e-10, 1);
  EXPECT_THAT(channels_of(reading), ElementsAre("A", "B"));
  EXPECT_EQ(reading.layout.metadata.at("line 0001"), "Bench,7");
  EXPECT_EQ(reading.layout.metadata.at("line 0002"), "Operator note,\"a, b\"");
}

TEST(text_records, every_delimiter_and_decimal_sign_gives_the_same_record) {
  const std::vector<std::string> texts{"0.0,1.5\n0.1,-2.5\n0.2,3.5\n",
                                       "0.0;1.5\r\n0.1;-2.5\r\n0.2;3.5\r\n",
                                       "0.0\t1.5\r0.1\t-2.5\r0.2\t3.5\r",
                                       "0.0|1.5\n0.1|-2.5\n0.2|3.5",
                                       "  0.0   1.5\n  0.1  -2.5\n  0.2   3.5\n",
                                       "0,0;1,5\n0,1;-2,5\n0,2;3,5\n",
                                       "0,0\t1,5\n0,1\t-2,5\n0,2\t3,5\n",
                                       "0,0 1,5\n0,1 -2,5\n0,2 3,5\n",
                                       "\"0,0\",\"1,5\"\n\"0,1\",\"-2,5\"\n\"0,2\",\"3,5\"\n",
                                       "\"0.0\",\"1.5\"\n\"0.1\",\"-2.5\"\n\"0.2\",\"3.5\"\n",
                                       "0.0, 1.5,\n0.1, -2.5,\n0.2, 3.5,\n",
                                       "0.0,1.5,,\n0.1,-2.5,,\n0.2,3.5\n",
                                       "\xEF\xBB\xBF"
                                       "0.0,+1.5\n0.1,-25e-1\n0.2,3.5\n"};
  for (const std::string& one : texts) {
    SCOPED_TRACE(one);
    expect_trace(only_record(read_text(one)).traces.at(0), {1.5, -2.5, 3.5}, 0.1, 0, 1);
  }
}

TEST(text_records, a_comma_that_can_only_be_a_decimal_sign_is_one) {
  const Settings input = with({{"interval", text("1 ns")}});
  EXPECT_EQ(printed_numbers(only_record(read_text("0,05\n-0,5\n1,25\n", input)).traces.at(0)),
            (std::vector<double>{0.05, -0.5, 1.25}));
  EXPECT_EQ(printed_numbers(only_record(read_text("1,234E-09\n-2,345E-09\n", input)).traces.at(0)),
            (std::vector<double>{1.234e-9, -2.345e-9}));
  EXPECT_THAT(read_text("0,00,1,50\n0,01,1,60\n0,02,1,70\n").refusal,
              HasSubstr("the comma seems to stand between the fields and for the decimal sign too"));
}

TEST(text_records, the_axis_may_stand_in_the_header_in_the_setup_or_beside_the_numbers) {
  expect_trace(only_record(read_text("# interval: 0.5 ns\n# start: -1 ns\n3\n5\n4\n")).traces.at(0),
               {3, 5, 4}, 5e-10, -1e-9, 1);
  expect_trace(only_record(read_text("Sample rate;2;GHz\nx0;-1;ns\n3\n5\n4\n")).traces.at(0), {3, 5, 4},
               5e-10, -1e-9, 1);
  expect_trace(only_record(read_text("3\n5\n4\n",
                                     with({{"interval", text("0.5 ns")}, {"first_sample", text("-1 ns")}})))
                   .traces.at(0),
               {3, 5, 4}, 5e-10, -1e-9, 1);
  expect_trace(only_record(read_text("3,Increment,0.5 ns\n5,First sample,-1 ns\n4,,\n3\n7,,\n")).traces.at(0),
               {3, 5, 4, 3, 7}, 5e-10, -1e-9, 1);
  const TextReading left = read_text("Increment,0.5,ns,0.0,3\nGain,5,,5e-10,5\n,,,1e-9,4\n,,,1.5e-9,3\n");
  expect_trace(only_record(left).traces.at(0), {3, 5, 4, 3}, 5e-10, 0, 1);
  EXPECT_EQ(left.layout.metadata.at("line 0002"), "Gain,5");
  EXPECT_THAT(read_text("3\n5\n4\n").refusal,
              HasSubstr("no column of times and nothing states the sample interval; give input/interval"));
}

TEST(text_records, a_column_that_counts_samples_is_no_voltage_and_must_count) {
  const std::string header = "# interval: 2 ns\nSample,A (V)\n";
  expect_trace(only_record(read_text(header + "0,3\n1,5\n2,4\n")).traces.at(0), {3, 5, 4}, 2e-9, 0, 1);
  EXPECT_THAT(damage_of(read_text(header + "0,3\n1,5\n3,4\n").records.at(0)),
              HasSubstr("run.csv, line 5: the count of samples goes from 1 to 3"));
}

TEST(text_records, units_stand_beside_below_or_above_the_names) {
  for (const std::string header :
       {"Time (us),A (mV)\n", "Time,A\nus,mV\n", "Time,A\n(us),(mV)\n",
        "time unit,us\nvertical unit,mV\nTime,A\n", "time_us,a_mV\n", "Time / us,A / mV\n",
        "# Time [us], A [mV]\n", "Time in us,A in mV\n", "us,mV\n", "Units,us,mV\nTime,A\n"}) {
    SCOPED_TRACE(header);
    expect_trace(only_record(read_text(header + "0,3\n2,5\n4,4\n")).traces.at(0), {3, 5, 4}, 2e-6, 0, 1e-3);
  }
  for (const std::string header : {"Time (us)  A (mV)\n", "# Time(us) A(mV)\n", "Time\tA\n(us)\t(mV)\n"}) {
    SCOPED_TRACE(header);
    expect_trace(only_record(read_text(header + "0 3\n2 5\n4 4\n")).traces.at(0), {3, 5, 4}, 2e-6, 0, 1e-3);
  }
}

TEST(text_records, counts_stay_whole_numbers_with_the_scale_given) {
  const std::string file = "Time (ns),A (counts)\n0,-128\n1,127\n2,5\n";
  const TextRecord record = only_record(read_text(file, with({{"volts_per_count", text("0.5 mV")}})));
  EXPECT_TRUE(std::holds_alternative<std::vector<std::int32_t>>(record.traces.at(0).counts));
  expect_trace(record.traces[0], {-128, 127, 5}, 1e-9, 0, 5e-4);
  const TextReading stated = read_text("volts per count: 0.5 mV\n" + file);
  EXPECT_EQ(only_record(stated).traces.at(0).volts_per_count, 5e-4);
  const TextReading unscaled = read_text(file);
  EXPECT_THAT(unscaled.layout.guesses, Contains(HasSubstr("nothing gives their voltage: 1 V is taken "
                                                          "(input/volts_per_count overrides this)")));
  EXPECT_TRUE(std::holds_alternative<std::vector<double>>(
      only_record(read_text("Time (ns),A (counts)\n0,0.5\n1,1\n2,2\n")).traces.at(0).counts));
}

TEST(text_records, records_follow_each_other_behind_blank_lines_headers_or_where_time_starts_again) {
  const std::string one = "0,1\n1,2\n2,3\n";
  const std::string two = "0,4\n1,5\n2,6\n";
  const std::string header = "Run 1\nTime (ns),A\n";
  for (const std::string& file :
       {one + two, one + "\n" + two, one + "\r\n\r\n" + two + "\n\n", one + ",\n" + two,
        header + one + header + two, header + one + "\nRun 2\nTime (ns),A\n" + two, one + "----\n" + two,
        one + "# next\n" + two, one + "next one\n" + two}) {
    SCOPED_TRACE(file);
    const TextReading reading = read_text(file);
    EXPECT_EQ(reading.refusal, "");
    ASSERT_EQ(reading.records.size(), 2U);
    ASSERT_EQ(damage_of(reading.records[0]) + damage_of(reading.records[1]), "");
    EXPECT_EQ(printed_numbers(reading.records[0].traces.at(0)), (std::vector<double>{1, 2, 3}));
    EXPECT_EQ(printed_numbers(reading.records[1].traces.at(0)), (std::vector<double>{4, 5, 6}));
  }
}

TEST(text_records, a_record_column_or_a_record_length_separates) {
  const TextReading numbered = read_text("Record,Time (ns),A\n7,0,1\n7,1,2\n8,2,3\n8,3,4\n");
  ASSERT_EQ(numbered.records.size(), 2U);
  EXPECT_EQ(printed_numbers(numbered.records[1].traces.at(0)), (std::vector<double>{3, 4}));
  const TextReading counted =
      read_text("1\n2\n3\n4\n5\n6\n", with({{"interval", text("1 ns")}, {"record_length", {2.0}}}));
  ASSERT_EQ(counted.records.size(), 3U);
  EXPECT_EQ(printed_numbers(counted.records[2].traces.at(0)), (std::vector<double>{5, 6}));
}

TEST(text_records, each_record_keeps_its_own_header_time_base_and_length) {
  const TextReading reading = read_text(
      "interval: 1 ns\nstart: -5 ns\ntrigger time: 2026-11-25T06:37:00Z\n1\n2\n3\n"
      "interval: 2 ns\nstart: -4 ns\ntrigger time: 2026-11-25T06:37:01Z\n4\n5\n");
  ASSERT_EQ(reading.records.size(), 2U);
  expect_trace(reading.records[0].traces.at(0), {1, 2, 3}, 1e-9, -5e-9, 1);
  expect_trace(reading.records[1].traces.at(0), {4, 5}, 2e-9, -4e-9, 1);
  EXPECT_EQ(to_text(reading.records[0].trigger.value()), "2026-11-25T06:37:00.000000000000000Z");
  EXPECT_EQ(to_text(reading.records[1].trigger.value()), "2026-11-25T06:37:01.000000000000000Z");
  const TextReading bases = read_text("Time (ns),A\n0,1\n1,2\n2,3\n\n-4,4\n-2,5\n0,6\n2,7\n");
  ASSERT_EQ(bases.records.size(), 2U);
  expect_trace(bases.records[1].traces.at(0), {4, 5, 6, 7}, 2e-9, -4e-9, 1);
}

TEST(text_records, blank_lines_behind_every_row_separate_nothing) {
  expect_trace(only_record(read_text("t,A\n0,1\n\n1,2\n\n2,3\n\n3,4\n\n")).traces.at(0), {1, 2, 3, 4}, 1, 0,
               1);
}

TEST(text_records, a_second_column_of_times_serves_the_voltages_on_its_right) {
  const TextRecord record =
      only_record(read_text("t1 (ns),A (V),t2 (ns),B (V)\n0,1,0.5,4\n1,2,2.5,5\n2,3,4.5,6\n"));
  ASSERT_EQ(record.traces.size(), 2U);
  expect_trace(record.traces[0], {1, 2, 3}, 1e-9, 0, 1);
  expect_trace(record.traces[1], {4, 5, 6}, 2e-9, 5e-10, 1);
}

TEST(text_records, rounded_times_are_fitted_and_a_missing_row_is_named) {
  std::string rounded = "Time (ns),A (V)\n";
  std::string gap = rounded;
  for (int i = 0; i < 500; ++i) {
    const std::string row = fmt::format("{:.2f},{}\n", 0.3125 * i, i);
    rounded += row;
    if (i != 300) gap += row;
  }
  const TextTrace trace = only_record(read_text(rounded)).traces.at(0);
  // Rounded to q = 0.01 ns: the interval holds within 2 q / n, the first time within q (text_time_axis.hpp).
  EXPECT_NEAR(trace.interval_s, 3.125e-10, 2 * 1e-11 / 500);
  EXPECT_NEAR(trace.first_sample_s, 0, 1e-11);
  EXPECT_THAT(damage_of(read_text(gap).records.at(0)),
              HasSubstr("run.csv, line 302: the time jumps by 0.62 where the interval is 0.31"));
}

TEST(text_records, damage_costs_its_record_alone_and_names_its_line) {
  const TextReading reading = read_text("Time (ns),A (V)\n0,1\n1,2\n2,3\n0,4\n1,x5\n2,6\n0,7\n1,8\n2,9\n");
  ASSERT_EQ(reading.records.size(), 3U);
  EXPECT_EQ(damage_of(reading.records[0]), "");
  EXPECT_THAT(damage_of(reading.records[1]), HasSubstr("run.csv, line 6: field 2 is 'x5', not a number"));
  EXPECT_EQ(printed_numbers(reading.records[2].traces.at(0)), (std::vector<double>{7, 8, 9}));
}

TEST(text_records, damage_is_not_taken_for_a_new_record) {
  for (const char* row : {"x1,2", "t5,2", "0.5,9", "1.7,9"}) {
    const TextReading reading = read_text(std::string("t,A\n0,1\n1,2\n2,2\n3,2\n") + row + "\n4,3\n5,4\n");
    const auto good = std::count_if(reading.records.begin(), reading.records.end(),
                                    [](const TextRecord& record) { return !record.damage; });
    EXPECT_LT(static_cast<std::size_t>(good), reading.records.size()) << row;
  }
}

TEST(text_records, damage_in_the_first_row_of_a_record_is_that_record_s) {
  const TextReading later = read_text("Time (ns),A (V)\n0,1\n1,2\n2,3\n0,OVER\n1,5\n2,6\n");
  ASSERT_EQ(later.records.size(), 2U);
  EXPECT_EQ(damage_of(later.records[0]), "");
  EXPECT_THAT(damage_of(later.records[1]), HasSubstr("line 5: field 2 is 'OVER', not a number"));
  for (const char* field : {"OVER", "oops", "--"}) {
    const TextReading first = read_text(std::string("Time (ns),A (V)\n0,") + field + "\n1,5\n2,6\n3,7\n");
    ASSERT_EQ(first.records.size(), 1U) << field;
    EXPECT_THAT(damage_of(first.records[0]), HasSubstr("line 2: field 2 is")) << field;
  }
}

TEST(text_records, nan_and_inf_in_a_voltage_are_samples_and_are_counted) {
  const TextRecord record = only_record(read_text("0,1\n1,nan\n2,-inf\n3,4\n"));
  EXPECT_EQ(record.samples_not_numbers, 2U);
  const std::vector<double> numbers = printed_numbers(record.traces.at(0));
  EXPECT_TRUE(std::isnan(numbers.at(1)) && std::isnan(numbers.at(2)));
}

TEST(text_records, text_behind_the_last_row_is_left_out_and_told) {
  const TextRecord record = only_record(read_text("0,1\n1,2\n2,3\nend of data\n"));
  ASSERT_EQ(record.remarks.size(), 1U);
  EXPECT_EQ(record.remarks[0].sentence, "run.csv, line 4: the text behind the last row is left out");
}

TEST(text_records, what_is_doubtful_is_told_as_a_remark) {
  const auto remark = [](const std::string& file) {
    const TextRecord record = only_record(read_text(file));
    return record.remarks.empty() ? "" : record.remarks.front().sentence;
  };
  EXPECT_THAT(remark("Samples,4\nTime (ns),A\n0,1\n1,2\n2,3\n"), HasSubstr("states 4 samples in line 1"));
  EXPECT_THAT(remark("Interval,2 ns\nTime (ns),A\n0,1\n1,2\n2,3\n"), HasSubstr("states the interval 2 ns"));
  EXPECT_THAT(remark("0.00,1.00\n0.01,2.00\n0.02,3.0"), HasSubstr("may be cut off"));
  EXPECT_THAT(remark("t,A\n0,1\n0,2\n1,3\n1,4\n2,5\n2,6\n3,7\n3,8\n"),
              HasSubstr("too coarse to see a missing row"));
  EXPECT_EQ(remark("0.00,1.00\n0.01,2.00\n0.02,3.00"), "");
}

TEST(text_records, every_guess_names_the_setting_that_overrides_it) {
  const TextReading reading = read_text("note\nTime,A,B (uA)\n0,1,2\n1,2,3\n2,3,4\n");
  for (const std::string& guess : reading.layout.guesses) EXPECT_THAT(guess, HasSubstr("input/")) << guess;
  for (const char* setting : {"delimiter", "decimal", "header_lines", "column_names", "time_column",
                              "voltage_columns", "time_unit", "voltage_unit"}) {
    EXPECT_THAT(reading.layout.guesses, Contains(HasSubstr(std::string("input/") + setting))) << setting;
  }
}

TEST(text_records, what_is_set_is_not_guessed) {
  const Settings input = with({{"delimiter", text("comma")},
                               {"decimal", text("point")},
                               {"header_lines", {1.0}},
                               {"column_names", {Settings::List{text("t"), text("A"), text("B")}}},
                               {"time_column", text("t")},
                               {"voltage_columns", {Settings::List{text("B")}}},
                               {"record_column", text("none")},
                               {"time_unit", text("us")},
                               {"voltage_unit", text("mV")},
                               {"channels", {Settings::List{text("top")}}}});
  const TextReading reading = read_text("5,6,7\n0,1,2\n1,2,3\n2,3,4\n", input);
  EXPECT_THAT(reading.layout.guesses, IsEmpty());
  EXPECT_THAT(channels_of(reading), ElementsAre("top"));
  expect_trace(only_record(reading).traces.at(0), {2, 3, 4}, 1e-6, 0, 1e-3);
}

TEST(text_records, settings_stand_over_what_the_file_says) {
  const std::string file = "interval: 1 ns\nTime (ns),A (mV),B (mV)\n0,1,2\n1,2,3\n2,3,4\n";
  const auto first = [&](std::initializer_list<std::pair<const char*, Settings::Value>> values) {
    return only_record(read_text(file, with(values))).traces.at(0);
  };
  expect_trace(first({{"voltage_columns", {Settings::List{{3.0}}}}}), {2, 3, 4}, 1e-9, 0, 1e-3);
  expect_trace(first({{"voltage_unit", {Settings::List{text("V"), text("uV")}}}}), {1, 2, 3}, 1e-9, 0, 1);
  expect_trace(first({{"time_unit", text("us")}}), {1, 2, 3}, 1e-6, 0, 1e-3);
  expect_trace(first({{"first_sample", text("-7 ns")}}), {1, 2, 3}, 1e-9, -7e-9, 1e-3);
  expect_trace(first({{"time_column", text("none")}, {"interval", text("5 ns")}}), {1, 2, 3}, 5e-9, 0, 1e-3);
  expect_trace(first({{"volts_per_count", text("2 mV")}}), {1, 2, 3}, 1e-9, 0, 2e-3);
  EXPECT_THAT(damage_of(read_text(file, with({{"interval", text("5 ns")}})).records.at(0)),
              HasSubstr("jumps by 1 where the interval is 5"));
}

TEST(text_records, separators_can_be_chosen_or_switched_off) {
  const std::string file = "0,1\n1,2\n\n2,3\n3,4\n";
  EXPECT_EQ(read_text(file).records.size(), 2U);
  expect_trace(only_record(read_text(file, with({{"record_separators", text("none")}}))).traces.at(0),
               {1, 2, 3, 4}, 1, 0, 1);
  EXPECT_EQ(
      read_text("0,1\n1,2\n0,3\n1,4\n", with({{"record_separators", text("blank line")}})).records.size(),
      1U);
}

TEST(text_records, settings_that_do_not_fit_are_refused_with_the_remedy) {
  const std::string file = "Time (ns),A (mV),B (mV)\n0,1,2\n1,2,3\n2,3,4\n";
  const auto refusal = [&](const char* name, const Settings::Value& value) {
    return read_text(file, with({{name, value}})).refusal;
  };
  EXPECT_THAT(refusal("voltage_columns", text("C")),
              HasSubstr("there is no column 'C'; correct input/voltage_columns: the columns are Time, A, B"));
  EXPECT_THAT(refusal("time_column", {9.0}), HasSubstr("there is no column '9'"));
  EXPECT_THAT(refusal("voltage_columns", {0.0}), HasSubstr("number columns 1, 2, 3"));
  EXPECT_THAT(refusal("channels", {Settings::List{text("x")}}), HasSubstr("2 voltage columns, but 1 names"));
  EXPECT_THAT(refusal("voltage_unit", text("ns")), HasSubstr("give V, mV, uV or counts"));
  EXPECT_THAT(refusal("time_unit", text("V")), HasSubstr("give s, ms, us, ns or ps"));
  EXPECT_THAT(refusal("interval", text("-1 ns")), HasSubstr("is not above zero"));
  EXPECT_THAT(refusal("interval", {0.0}), HasSubstr("is not above zero"));
  EXPECT_THAT(refusal("delimiter", text("5")), HasSubstr("choose one of"));
  EXPECT_THAT(refusal("decimal", text("dot")), HasSubstr("choose one of"));
  EXPECT_THAT(refusal("header_lines", {-1.0}), HasSubstr("give a whole number from 0 on"));
  EXPECT_THAT(refusal("header_lines", {50.0}), HasSubstr("only 4 lines"));
  EXPECT_THAT(refusal("record_length", {0.5}), HasSubstr("give a whole number from 1 on"));
  EXPECT_THAT(refusal("record_separators", text("comma")), HasSubstr("choose among"));
  EXPECT_THAT(refusal("volts_per_count", {0.0}), HasSubstr("is zero"));
  EXPECT_THAT(refusal("lowest_count", {std::numeric_limits<double>::infinity()}),
              HasSubstr("in rising order"));
  EXPECT_THAT(refusal("separator", text(";")), HasSubstr("is not a name known here"));
  EXPECT_THAT(refusal("delimiter", text("semicolon")), HasSubstr("there is no row of numbers"));
}

TEST(text_records, names_that_change_within_a_file_end_its_reading) {
  const TextReading reading = read_text("t,A\n0,1\n1,2\n2,3\nt,B\n0,1\n1,2\n2,3\n");
  ASSERT_EQ(reading.records.size(), 2U);
  EXPECT_EQ(damage_of(reading.records[0]), "");
  EXPECT_THAT(damage_of(reading.records[1]), HasSubstr("line 5: the columns are named otherwise"));
}

TEST(text_records, equal_names_are_told_apart_and_labels_are_left_out) {
  EXPECT_THAT(channels_of(read_text("t,A,A\n0,1,2\n1,2,3\n2,3,4\n")), ElementsAre("A", "A (column 3)"));
  std::string labelled = "when,t (ns),A (V)\n";
  for (int i = 0; i < 40; ++i) labelled += fmt::format("2026-11-25 06:37:{:02},{},{}\n", i, i, 2 * i);
  const TextReading reading = read_text(labelled);
  EXPECT_EQ(only_record(reading).traces.at(0).interval_s, 1e-9);
  EXPECT_THAT(reading.layout.guesses, Contains(HasSubstr("texts that stand in every row are left out")));
}

TEST(text_records, the_same_rows_come_out_whether_a_file_is_small_or_many_blocks_long) {
  // 4 MiB: the source refills several times within records.
  std::string file = "Time (ns),A (V)\n";
  std::size_t records = 0;
  for (; file.size() < (std::size_t{4} << 20U); ++records) {
    for (int i = 0; i < 1000; ++i) file += fmt::format("{:.1f},{}\n", 0.2 * i, (records * 1000 + i) % 977);
  }
  const TextReading reading = read_text(file);
  ASSERT_EQ(reading.records.size(), records);
  for (std::size_t k = 0; k < records; ++k) {
    ASSERT_EQ(damage_of(reading.records[k]), "");
    const std::vector<double> numbers = printed_numbers(reading.records[k].traces.at(0));
    ASSERT_EQ(numbers.size(), 1000U);
    for (std::size_t i = 0; i < 1000; ++i) ASSERT_EQ(numbers[i], static_cast<double>((k * 1000 + i) % 977));
  }
}

}  // namespace
}  // namespace firstedge
