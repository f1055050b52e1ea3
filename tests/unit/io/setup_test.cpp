// Claims of the Setup: what its names mean, how a channel's own words stand over everybody's, and what is
// refused.
#include "firstedge/io/setup.hpp"

#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::AllOf;
using testing::HasSubstr;

std::string refusal_of(const std::string& json) {
  return sentence_of([&] { parse_setup(json, "bench.json"); });
}

TEST(setup, a_bench_is_read_name_by_name) {
  const auto setup = parse_setup(R"({
    "title": "Skerry test line, bench", "learning_records": 500,
    "input": {"format": "npy", "interval": "0.2 ns", "channels": ["Near", "Far"]},
    "every_channel": {"load": "50 ohm", "baseline": {"method": "median"}},
    "channels": [{"name": "Near", "sensor": "diamond, 4 mm", "load": 1000000,
                  "filters": [{"kind": "gaussian", "width": "0.4 ns"}], "search": {"polarity": "negative"}}]})",
                                 "bench.json");
  EXPECT_EQ(setup.title, "Skerry test line, bench");
  EXPECT_EQ(setup.learning_records, 500U);
  EXPECT_EQ(setup.input.text("format", ""), "npy");
  EXPECT_DOUBLE_EQ(setup.input.quantity("interval", "s").value(), 0.2e-9);
  EXPECT_EQ(setup.input.texts("channels"), (std::vector<std::string>{"Near", "Far"}));
  const ChannelSetup near = setup.channel("Near");
  EXPECT_EQ(near.name, "Near");
  EXPECT_EQ(near.sensor, "diamond, 4 mm");
  EXPECT_EQ(near.load_ohm, 1e6);
  EXPECT_EQ(near.baseline.text("method", ""), "median");
  EXPECT_EQ(near.filters.at(0).text("kind", ""), "gaussian");
  EXPECT_EQ(near.search.text("polarity", ""), "negative");
  const ChannelSetup far = setup.channel("Far");
  EXPECT_EQ(far.name, "Far");
  EXPECT_EQ(far.load_ohm, 50);
  EXPECT_EQ(far.search.text("polarity", ""), "either") << "what nobody says comes from the default setup";
  EXPECT_EQ(far.timing.size(), 3U);
}

TEST(setup, a_channels_words_stand_over_everybodys_name_by_name_and_a_list_replaces_the_list) {
  const auto setup = parse_setup(R"({
    "every_channel": {"baseline": {"method": "median", "window": ["-20 ns", "-2 ns"]},
                      "filters": [{"kind": "notch"}], "timing": [{"method": "leading_edge"}]},
    "channels": [{"name": "A", "baseline": {"method": "mean"}, "filters": []}, {"name": "B"}]})",
                                 "bench.json");
  const ChannelSetup a = setup.channel("A");
  EXPECT_EQ(a.baseline.text("method", ""), "mean");
  EXPECT_TRUE(a.baseline.range("window", "s").has_value()) << "the name it does not give is kept";
  EXPECT_TRUE(a.filters.empty()) << "an empty list takes the filters away";
  EXPECT_EQ(a.timing.size(), 1U);
  EXPECT_EQ(setup.channel("B").filters.size(), 1U);
}

TEST(setup, the_default_is_automatic_baseline_either_polarity_and_three_methods) {
  const auto setup = default_setup();
  const ChannelSetup any = setup.channel("C1");
  EXPECT_TRUE(any.baseline.empty());
  EXPECT_TRUE(any.filters.empty());
  EXPECT_EQ(any.load_ohm, 50);
  EXPECT_EQ(any.search.text("polarity", ""), "either");
  ASSERT_EQ(any.timing.size(), 3U);
  EXPECT_EQ(any.timing[0].text("method", ""), "constant_fraction");
  EXPECT_EQ(any.timing[0].number("fraction", 0), 0.3);
  EXPECT_EQ(any.timing[1].text("method", ""), "leading_edge");
  EXPECT_EQ(any.timing[2].text("method", ""), "template_fit");
  EXPECT_EQ(parse_setup(setup.text, "again").title, setup.title) << "its text is a Setup itself";
  EXPECT_EQ(parse_setup("{}", "empty").channel("C1").timing.size(), 3U);
}

TEST(setup, an_error_names_line_and_column_or_the_path_of_names) {
  EXPECT_THAT(refusal_of("{\n  \"title\": \"x\",\n  \"input\": }\n"),
              AllOf(HasSubstr("bench.json, line 3, column 12: not JSON"), HasSubstr("unexpected '}'")));
  EXPECT_THAT(refusal_of("{\"tittle\": 1}"), AllOf(HasSubstr("bench.json, tittle: is not a name known here"),
                                                   HasSubstr("learning_records, temperature, title")));
  EXPECT_THAT(refusal_of(R"({"channels": [{"name": "A"}, {"name": "B", "loud": 1}]})"),
              HasSubstr("bench.json, channels/1/loud: is not a name known here"));
  EXPECT_THAT(refusal_of(R"({"every_channel": {"load": "50 V"}})"),
              HasSubstr("bench.json, every_channel/load"));
  const auto setup = parse_setup(R"({"channels": [{"name": "A", "timing": [{"method": 3}]}]})", "bench.json");
  EXPECT_THAT(sentence_of([&] { setup.channel("A").timing[0].text("method", ""); }),
              HasSubstr("bench.json, channels/0/timing/0/method: is a number"));
}

TEST(setup, a_file_is_read_and_a_missing_one_is_told) {
  const test::TemporaryFolder folder;
  const auto file = folder.write("bench.json", "\xEF\xBB\xBF{\"title\": \"marked\"}");
  EXPECT_EQ(read_setup(file).title, "marked") << "a byte order mark is passed over";
  EXPECT_THAT(sentence_of([&] { read_setup(folder.path() / "other.json"); }),
              HasSubstr("there is no such file"));
  EXPECT_THAT(sentence_of([&] { read_setup("/"); }), HasSubstr("is a folder"));
}

}  // namespace
}  // namespace firstedge
