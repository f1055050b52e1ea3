// Claims of a layout that is taken from one file of a run for the next: it is what the next file says itself.
#include "firstedge/io/text_layout_again.hpp"

#include "support/text_reading.hpp"

#include <memory>
#include <string>
#include <tuple>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::string rows(int count, const std::string& behind = "") {
  std::string text;
  for (int i = 0; i < count; ++i) text += fmt::format("{}e-9,{}{}\n", i, 0.01 * (i % 7), behind);
  return text;
}

TextOptions options() {
  return {.interval_s = 1e-9};  // for files without times
}

std::shared_ptr<const TextLayout> layout_of(const std::string& text,
                                            const std::shared_ptr<const TextLayout>& known = nullptr) {
  return open_text_records(test::source_of(text), options(), TextDialect{}, known).shared_layout();
}

auto all_of(const TextLayout& layout) {
  std::vector<std::tuple<std::size_t, double>> times;
  for (const TimeColumn& time : layout.times) times.emplace_back(time.column, time.factor_s);
  std::vector<std::tuple<std::size_t, std::string, double, bool>> voltages;
  for (const VoltageColumn& one : layout.voltages)
    voltages.emplace_back(one.column, one.name, one.volts_per_count, one.whole_counts);
  return std::tuple(layout.header_lines, layout.columns, times, voltages, layout.index_column,
                    layout.record_column, layout.double_spaced, layout.header_keys, layout.title_line,
                    layout.guesses, layout.metadata, layout.telling_header);
}

const std::string header = "bench: 4\ntime (s),A (V)\n";

TEST(text_layout_again, files_with_the_same_telling_header_share_one_layout) {
  const auto first = layout_of(header + rows(100));
  ASSERT_THAT(first->telling_header, header);
  EXPECT_EQ(layout_of(header + rows(700), first), first);
}

TEST(text_layout_again, whatever_stands_in_the_next_file_its_layout_is_the_one_found_without_help) {
  const std::vector<std::string> bodies{
      rows(100),
      rows(500),
      rows(20),
      rows(100, ",0.5"),
      rows(100, ",label"),
      "\n" + rows(100),
      rows(3, ",gain: 3") + rows(100),
      rows(40) + "\n" + rows(100),
      rows(40) + "words\n" + rows(100),
      rows(100) + rows(100, ";"),
      rows(10) + "3,x\n" + rows(100),
      "1,x\n" + rows(100),
  };
  const std::vector<std::string> headers{header,
                                         "time (s),A (V)\n",
                                         "time,A\n",
                                         "index,time (s),A (V)\n",
                                         "time (ns),B (mV)\n",
                                         "record,A (V)\n",
                                         "A (V),B (V)\n",
                                         "time (s),A (V)\r\n",
                                         "1,time (s),A (V)\n",
                                         ""};
  for (const std::string& above : headers) {
    const auto known = layout_of(above + rows(100));
    for (const std::string& other : headers) {
      for (const std::string& body : bodies) {
        const std::string text = other + body;
        EXPECT_EQ(all_of(*layout_of(text, known)), all_of(*layout_of(text))) << above << "then\n" << text;
      }
    }
  }
}

TEST(text_layout_again, a_header_tells_nothing_where_the_numbers_choose_the_columns) {
  EXPECT_EQ(layout_of("time,A\n" + rows(100))->telling_header, "");   // the unit may follow from the steps
  EXPECT_EQ(layout_of("x,A (V)\n" + rows(100))->telling_header, "");  // the time is known by its rise
  EXPECT_EQ(layout_of("time (s),A (V)\n" + rows(100, ",a"))->telling_header, "");
  EXPECT_EQ(layout_of(rows(100))->telling_header, "");
}

}  // namespace
}  // namespace firstedge
