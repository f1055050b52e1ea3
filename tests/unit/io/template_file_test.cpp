// Claims of the template file.
#include "firstedge/io/template_file.hpp"

#include "firstedge/core/digest.hpp"

#include "support/random.hpp"
#include "support/random_records.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using test::TemporaryFolder;
using testing::HasSubstr;

PulseTemplate some_template(const std::string& channel, std::size_t size) {
  test::Random random(size);
  PulseTemplate one{.channel = channel,
                    .interval_s = random.uniform(1e-12, 1e-9),
                    .first_s = random.normal(0, 1e-9),
                    .reference_fraction = random.uniform(0, 1),
                    .shape = std::vector<double>(size),
                    .shape_uncertainty = std::vector<double>(size),
                    .pulses_used = 123456};
  random.add_white_noise(one.shape, 1);
  random.add_white_noise(one.shape_uncertainty, 1e-3);
  return one;
}

bool all_same_bits(const std::vector<double>& a, const std::vector<double>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](double x, double y) { return test::same_bits(x, y); });
}

TEST(template_file, templates_read_back_bit_for_bit_in_their_order) {
  const TemporaryFolder folder;
  std::vector<PulseTemplate> templates{some_template("south", 1), some_template("<script>/n\n", 10000),
                                       some_template("", 777)};
  templates[2].shape_uncertainty.clear();
  for (int i = 0; i < 12; ++i) templates.push_back(some_template("channel " + std::to_string(i), 3));
  write_templates(folder / "templates.h5", templates);
  const std::vector<PulseTemplate> read = read_templates(folder / "templates.h5");
  ASSERT_EQ(read.size(), templates.size());
  for (std::size_t i = 0; i < read.size(); ++i) {
    EXPECT_EQ(read[i].channel, templates[i].channel);
    EXPECT_TRUE(test::same_bits(read[i].interval_s, templates[i].interval_s));
    EXPECT_TRUE(test::same_bits(read[i].first_s, templates[i].first_s));
    EXPECT_TRUE(test::same_bits(read[i].reference_fraction, templates[i].reference_fraction));
    EXPECT_TRUE(all_same_bits(read[i].shape, templates[i].shape));
    EXPECT_TRUE(all_same_bits(read[i].shape_uncertainty, templates[i].shape_uncertainty));
    EXPECT_EQ(read[i].pulses_used, templates[i].pulses_used);
  }
}

TEST(template_file, the_same_templates_give_the_same_bytes) {
  const TemporaryFolder folder;
  for (const char* name : {"a.h5", "b.h5"}) write_templates(folder / name, {some_template("south", 5000)});
  EXPECT_EQ(sha256_of_file(folder / "a.h5"), sha256_of_file(folder / "b.h5"));
  EXPECT_FALSE(std::filesystem::exists(folder / "a.h5.part"));
}

TEST(template_file, no_templates_are_a_file_too) {
  const TemporaryFolder folder;
  write_templates(folder / "none.h5", {});
  EXPECT_TRUE(read_templates(folder / "none.h5").empty());
}

TEST(template_file, what_could_not_be_read_back_is_not_written) {
  const TemporaryFolder folder;
  const auto with = [&](auto&& change) {
    PulseTemplate one = some_template("south", 10);
    change(one);
    return sentence_of([&] { write_templates(folder / "templates.h5", {one}); });
  };
  const double nan = std::numeric_limits<double>::quiet_NaN();
  EXPECT_THAT(with([](auto& one) { one.shape.clear(); }), HasSubstr("'south' has an empty shape"));
  EXPECT_THAT(with([](auto& one) { one.interval_s = 0; }), HasSubstr("no positive interval"));
  EXPECT_THAT(with([&](auto& one) { one.shape[3] = nan; }), HasSubstr("not finite"));
  EXPECT_THAT(with([&](auto& one) { one.first_s = nan; }), HasSubstr("no finite time"));
  EXPECT_THAT(with([](auto& one) { one.reference_fraction = 1; }), HasSubstr("outside (0, 1)"));
  EXPECT_THAT(with([](auto& one) { one.shape_uncertainty.pop_back(); }), HasSubstr("another size"));
  EXPECT_THAT(sentence_of([&] {
                write_templates(folder / "templates.h5", {some_template("a", 2), some_template("a", 2)});
              }),
              HasSubstr("'a' stands twice"));
  EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
}

}  // namespace
}  // namespace firstedge
