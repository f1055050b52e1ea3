// Claims of a reader whose first records are used twice: they come again as they came, with what was told of
// them.
#include "firstedge/batch/kept_reader.hpp"

#include "support/small_bench.hpp"
#include "support/temporary_folder.hpp"

#include <cstdint>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr std::uint64_t records = 100;

std::vector<std::uint64_t> numbers_of(RecordReader& reader, std::size_t at_a_time, std::size_t most) {
  std::vector<std::uint64_t> numbers;
  while (numbers.size() < most) {
    const RecordBlock block = reader.next_block(at_a_time);
    if (block.records.empty()) break;
    EXPECT_LE(block.records.size(), at_a_time);
    for (const Record& record : block.records) {
      EXPECT_FALSE(record.traces[0].empty());
      numbers.push_back(record.index);
    }
  }
  return numbers;
}

TEST(kept_reader, what_was_read_first_comes_again_and_then_the_rest_whatever_the_block_sizes) {
  const test::TemporaryFolder folder;
  const auto file = folder / "run.h5";
  test::write_run(test::small_bench(records), file);
  const Settings input("input");
  const auto all = numbers_of(*open_records({file}, input), 7, records);
  ASSERT_EQ(all.size(), records);
  for (const std::size_t first : {0U, 30U, 1000U}) {
    for (const std::size_t size : {1U, 9U, 10U, 64U}) {
      KeptReader reader(open_records({file}, input));
      numbers_of(reader, 10, first);
      const std::uint64_t read = reader.account().records_good;
      EXPECT_EQ(read, std::min<std::uint64_t>(first, records));
      reader.begin_again();
      EXPECT_EQ(reader.account().records_good, 0U);
      EXPECT_EQ(numbers_of(reader, size, records), all);
      EXPECT_TRUE(reader.next_block(size).records.empty());
      EXPECT_EQ(reader.account().records_good, records);
    }
  }
}

}  // namespace
}  // namespace firstedge
