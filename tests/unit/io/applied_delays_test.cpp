// Claims of the applied delays in the head of a stamp table: they come back bit for bit in both formats, and
// spoilt ones are refused.
#include "firstedge/io/applied_delay_json.hpp"
#include "firstedge/io/stamp_table.hpp"

#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::vector<AppliedDelay> some_delays(std::size_t stretches) {
  std::vector<AppliedDelay> delays;
  for (std::size_t i = 0; i < stretches; ++i)
    delays.push_back(
        {.channel = "North \"3\", µ",
         .first_record = 10 * i,
         .last_record = 10 * i + 9,
         .delay_s = 48.32e-9 / 3 + static_cast<double>(i) * 1e-13,
         .doubtful = i % 2 == 1,
         .terms = {{.name = "cable",
                    .input = {0.1 + 0.2, 35e-12 / 7, 9},
                    .distribution = Distribution::student_t,
                    .evaluation = Evaluation::type_a,
                    .measured = "2026-10-02, through"},
                   {.name = "temperature", .unit = "K", .input = {19, 1}, .sensitivity = -1e-14}}});
  return delays;
}

void expect_equal(const std::vector<AppliedDelay>& read, const std::vector<AppliedDelay>& written) {
  ASSERT_EQ(read.size(), written.size());
  for (std::size_t i = 0; i < read.size(); ++i) {
    EXPECT_EQ(read[i].channel, written[i].channel);
    EXPECT_EQ(read[i].first_record, written[i].first_record);
    EXPECT_EQ(read[i].last_record, written[i].last_record);
    EXPECT_EQ(read[i].delay_s, written[i].delay_s) << "bit for bit";
    EXPECT_EQ(read[i].doubtful, written[i].doubtful);
    ASSERT_EQ(read[i].terms.size(), written[i].terms.size());
    for (std::size_t t = 0; t < read[i].terms.size(); ++t) {
      EXPECT_TRUE(is_same_quantity(read[i].terms[t], written[i].terms[t]));
      EXPECT_EQ(read[i].terms[t].sensitivity, written[i].terms[t].sensitivity);
      EXPECT_EQ(read[i].terms[t].evaluation, written[i].terms[t].evaluation);
    }
  }
}

TEST(applied_delays, come_back_bit_for_bit_in_both_formats) {
  const test::TemporaryFolder folder;
  // Few, and more than HDF5 keeps in an object's own head (64 KiB).
  for (const std::size_t stretches : {1U, 400U}) {
    StampTableHead head;
    head.channels = {{.name = "North", .sensor = ""}};
    head.methods = {{.name = "m", .settings = ""}};
    head.applied_delays = some_delays(stretches);
    for (const char* name : {"table.h5", "table.csv"}) {
      StampTableWriter writer(folder / name, head);
      writer.write({});
      writer.finish();
      expect_equal(StampTableReader(folder / name).head().applied_delays, head.applied_delays);
    }
  }
}

TEST(applied_delays, spoilt_ones_are_refused_with_their_place) {
  const std::string good = applied_delays_json(some_delays(1));
  EXPECT_NO_THROW(applied_delays_from_json(good, "t.h5"));
  const auto with = [&](const std::string& from, const std::string& to) {
    std::string text = good;
    const std::size_t at = text.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    return text.replace(at, from.size(), to);
  };
  for (const std::string& bad :
       {std::string(), std::string("{}"), std::string("[1]"), std::string(1000, '['), good.substr(1),
        with("\"delay_s\":", "\"delay\":"), with("\"last_record\":9", "\"last_record\":-1"),
        with("\"first_record\":0", "\"first_record\":99"), with("\"uncertainty\":5", "\"uncertainty\":-5"),
        with("\"degrees_of_freedom\":9", "\"degrees_of_freedom\":-9"), with("\"t\"", "\"q\""),
        with("\"A\"", "\"C\""), with("\"doubtful\":false", "\"doubtful\":2")})
    EXPECT_THAT(test::sentence_of([&] { applied_delays_from_json(bad, "t.h5"); }),
                testing::StartsWith("t.h5: "))
        << bad;
}

}  // namespace
}  // namespace firstedge
