// Claims of the Setup's elements and chains: what their names mean, and what is refused.
#include "firstedge/io/setup.hpp"

#include "support/sentence_of.hpp"

#include <cmath>
#include <string>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::AllOf;
using testing::HasSubstr;

TEST(setup_elements, an_element_and_a_chain_are_read_name_by_name) {
  const auto setup = parse_setup(R"({
    "temperature": {"celsius": 19.5, "uncertainty": 1.5},
    "elements": [
      {"name": "cable N3", "delay": "48.32 ns", "uncertainty": "35 ps", "type": "A", "degrees_of_freedom": 9,
       "method": "through, twelve readings", "measured": "2026-10-02", "valid_from": "2026-10-02",
       "valid_until": "2027-10-01",
       "temperature_coefficient": {"ppm_per_kelvin": 40, "uncertainty_ppm_per_kelvin": 10, "at_celsius": 22}},
      {"name": "input 1", "calibrations": [
         {"delay": 1e-9, "uncertainty": "20 ps", "valid_from": "2027-01-01T12:00:00Z"},
         {"delay": "0.9 ns", "uncertainty": "20 ps", "distribution": "rectangular",
          "valid_until": "2026-12-31"}]}],
    "every_channel": {"chain": ["input 1"]},
    "channels": [{"name": "North", "chain": ["cable N3", "input 1"]}, {"name": "Bare", "chain": []},
                 {"name": "Other"}]})",
                                 "station.json");
  ASSERT_EQ(setup.elements.size(), 2U);
  const Calibration& cable = setup.elements[0].calibrations.at(0);
  EXPECT_EQ(setup.elements[0].name, "cable N3");
  EXPECT_DOUBLE_EQ(cable.delay_s.value, 48.32e-9);
  EXPECT_DOUBLE_EQ(cable.delay_s.uncertainty, 35e-12);
  EXPECT_EQ(cable.delay_s.degrees_of_freedom, 9);
  EXPECT_EQ(cable.evaluation, Evaluation::type_a);
  EXPECT_EQ(cable.distribution, Distribution::student_t) << "readings: t, unless something else is said";
  EXPECT_EQ(cable.method, "through, twelve readings");
  EXPECT_EQ(to_text(cable.valid_from.value()), "2026-10-02T00:00:00.000000000000000Z");
  EXPECT_EQ(to_text(cable.valid_until.value()), "2027-10-02T00:00:00.000000000000000Z") << "to the day's end";
  EXPECT_DOUBLE_EQ(cable.temperature_coefficient_per_k.value, 40e-6);
  EXPECT_DOUBLE_EQ(cable.temperature_coefficient_per_k.uncertainty, 10e-6);
  EXPECT_EQ(cable.temperature_c, 22);
  const auto& input = setup.elements[1].calibrations;
  ASSERT_EQ(input.size(), 2U);
  EXPECT_DOUBLE_EQ(input[0].delay_s.value, 0.9e-9) << "in order of validity";
  EXPECT_EQ(input[0].distribution, Distribution::rectangular);
  EXPECT_FALSE(input[0].valid_from.has_value());
  EXPECT_EQ(input[1].evaluation, Evaluation::type_b);
  EXPECT_TRUE(std::isinf(input[1].delay_s.degrees_of_freedom));
  EXPECT_EQ(setup.temperature_c.value().value, 19.5);
  EXPECT_EQ(setup.channel("North").chain.value(), (std::vector<std::string>{"cable N3", "input 1"}));
  EXPECT_TRUE(setup.channel("Bare").chain.value().empty()) << "an empty list: nothing is passed";
  EXPECT_EQ(setup.channel("Other").chain.value(), std::vector<std::string>{"input 1"});
  EXPECT_EQ(setup.chains().size(), 3U);
  EXPECT_FALSE(default_setup().every_channel.chain.has_value());
}

std::string refusal_of_element(const std::string& members) {
  return sentence_of([&] {
    parse_setup(fmt::format(R"({{"elements": [{{"name": "cable", {}}}]}})", members), "station.json");
  });
}

TEST(setup_elements, what_makes_no_sense_gets_one_sentence_with_its_place) {
  const std::string place = "station.json, elements/0/";
  const std::string good = R"("delay": "1 ns", "uncertainty": "1 ps")";
  EXPECT_EQ(refusal_of_element(good), "");
  const std::vector<std::pair<std::string, std::string>> bad{
      {R"("uncertainty": "1 ps")", "delay: is missing"},
      {R"("delay": "1 ns")", "uncertainty: is missing"},
      {R"("delay": "1 m", "uncertainty": "1 ps")", "delay: is the text '1 m', not a quantity in s"},
      {R"("delay": 48.32, "uncertainty": "1 ps")", "delay: is 48.32 s"},
      {R"("delay": "1 ns", "uncertainty": "-1 ps")", "uncertainty: is -1e-12 s"},
      {good + R"(, "type": "C")", "type: is 'C'"},
      {good + R"(, "type": "A")", "degrees_of_freedom: is missing"},
      {good + R"(, "degrees_of_freedom": 0)", "degrees_of_freedom: is 0"},
      {good + R"(, "distribution": "t")", "distribution: is t without degrees of freedom"},
      {good + R"(, "distribution": "flat")", "distribution: is 'flat'"},
      {good + R"(, "valid_from": "2026-02-30")", "valid_from: '2026-02-30T00:00:00Z' is not a day"},
      {good + R"(, "valid_from": "2026-02-03", "valid_until": "2026-02-01")", "valid_until: is not after"},
      {good + R"(, "measured": "yesterday")", "measured: 'yesterday'"},
      {good + R"(, "delays": 1)", "delays: is not a name known here"},
      {good + R"(, "temperature_coefficient": {"ppm_per_kelvin": 1e7})", "ppm_per_kelvin: is not below"},
      {good + R"(, "temperature_coefficient": {"uncertainty_ppm_per_kelvin": -1})", "kelvin: is -1"},
      {good + R"(, "temperature_coefficient": {"at_celsius": -300})", "at_celsius: is -300"},
      {R"("calibrations": [])", "calibrations: is empty"},
      {R"("calibrations": [{"delay": 0, "uncertainty": 0}, {"delay": 0, "uncertainty": 0}])",
       "calibrations: holds two that are valid at the same time"},
      {good + R"(, "calibrations": [{"delay": 0, "uncertainty": 0}])", "is not a name known here"},
  };
  for (const auto& [members, words] : bad)
    EXPECT_THAT(refusal_of_element(members), AllOf(HasSubstr(place), HasSubstr(words))) << members;
}

TEST(setup_elements, names_must_hold_together) {
  const std::string elements =
      R"("elements": [{"name": "a", "delay": 0, "uncertainty": 0}, {"name": "b", "delay": 0, "uncertainty": 0}])";
  const auto refusal = [&](const std::string& rest) {
    return sentence_of([&] { parse_setup("{" + elements + ", " + rest + "}", "s.json"); });
  };
  EXPECT_EQ(refusal(R"("channels": [{"name": "X", "chain": ["a", "b"]}])"), "");
  EXPECT_THAT(refusal(R"("channels": [{"name": "X", "chain": ["a", "c"]}])"),
              AllOf(HasSubstr("s.json, channels/0/chain"), HasSubstr("'c'")));
  EXPECT_THAT(refusal(R"("channels": [{"name": "X", "chain": ["a", "a"]}])"), HasSubstr("'a' twice"));
  EXPECT_THAT(refusal(R"("every_channel": {"chain": ["d"]})"), HasSubstr("every_channel/chain"));
  EXPECT_THAT(refusal(R"("channels": [{"name": "X", "chain": [1]}])"), HasSubstr("holds a number"));
  EXPECT_THAT(sentence_of([] {
                parse_setup(R"({"elements": [{"name": "a", "delay": 0, "uncertainty": 0},
                                             {"name": "a", "delay": 0, "uncertainty": 0}]})",
                            "s.json");
              }),
              AllOf(HasSubstr("elements/1/name"), HasSubstr("'a' again")));
  EXPECT_THAT(sentence_of([] { parse_setup(R"({"elements": [{"delay": 0, "uncertainty": 0}]})", "s.json"); }),
              HasSubstr("elements/0/name"));
  EXPECT_THAT(sentence_of([] { parse_setup(R"({"temperature": {"uncertainty": 1}})", "s.json"); }),
              HasSubstr("temperature/celsius"));
  EXPECT_THAT(sentence_of([] { parse_setup(R"({"elements": 3})", "s.json"); }), HasSubstr("elements"));
}

}  // namespace
}  // namespace firstedge
