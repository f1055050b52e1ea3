// Claims of parts: together they hold each record once, whatever is damaged or missing.
#include "firstedge/batch/record_range.hpp"

#include "firstedge/core/error.hpp"

#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <numeric>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::TemporaryFolder;

// One text file a record; those of the numbers in `spoilt` hold nothing that can be read.
Setup files_of_records(const TemporaryFolder& folder, const std::vector<int>& numbers,
                       const std::vector<int>& spoilt) {
  for (const int number : numbers) {
    const bool bad = std::count(spoilt.begin(), spoilt.end(), number) > 0;
    folder.write("r" + std::to_string(number) + ".csv",
                 bad ? std::string("\0\1\2\3", 4) : "time_s,a_V\n0,0.1\n1e-9,0.2\n2e-9,0.1\n");
  }
  return parse_setup(R"({"input": {"pattern": "r{record}.csv"}})", "test");
}

std::vector<std::uint64_t> indexes(RecordReader& reader, std::size_t block) {
  std::vector<std::uint64_t> found;
  for (RecordBlock records = reader.next_block(block); !records.records.empty();
       records = reader.next_block(block)) {
    EXPECT_LE(records.records.size(), block);
    for (const Record& record : records.records) found.push_back(record.index);
  }
  return found;
}

TEST(record_range, the_parts_hold_each_good_record_once_in_order) {
  const TemporaryFolder folder;
  const firstedge::Setup setup =
      files_of_records(folder, {1, 2, 3, 5, 8, 9, 10, 11, 20, 21, 22, 23, 24, 25}, {3, 10, 25});
  const std::vector<std::uint64_t> all = indexes(*open_records({folder.path()}, setup.input), 100);
  ASSERT_EQ(all.size(), 11U);
  for (const std::uint64_t parts : {1, 2, 3, 5, 30}) {
    std::vector<std::uint64_t> together;
    std::uint64_t good = 0, bad = 0;
    for (std::uint64_t k = 1; k <= parts; ++k) {
      const RecordRange range = range_of({k, parts}, {folder.path()}, setup);
      RecordRangeReader reader([&] { return open_records({folder.path()}, setup.input); }, range,
                               range.first);
      const auto mine = indexes(reader, 2);
      together.insert(together.end(), mine.begin(), mine.end());
      EXPECT_EQ(reader.passed(), 0U);
      EXPECT_EQ(reader.account().records_good, mine.size());
      good += reader.account().records_good;
      bad += reader.account().records_bad;
    }
    EXPECT_EQ(together, all) << parts;
    EXPECT_EQ(good, 11U);
    EXPECT_EQ(bad, 3U);
  }
}

TEST(record_range, what_is_left_of_a_part_follows_what_was_done) {
  const TemporaryFolder folder;
  std::vector<int> numbers(40);
  std::iota(numbers.begin(), numbers.end(), 1);
  const firstedge::Setup setup = files_of_records(folder, numbers, {12});
  const RecordRange part{.first = 10, .end = 30};
  for (std::uint64_t first_left = 10; first_left <= 30; ++first_left) {
    RecordRangeReader reader([&] { return open_records({folder.path()}, setup.input); }, part, first_left);
    // Number 12 is record 11.
    EXPECT_EQ(reader.passed(), first_left - 10 - (first_left > 11 ? 1 : 0));
    const auto left = indexes(reader, 3);
    EXPECT_EQ(reader.passed() + left.size(), 19U);
    EXPECT_TRUE(left.empty() || left.back() == 29U);
    EXPECT_EQ(reader.account().records_good, 19U);
  }
}

TEST(record_range, a_part_that_is_none_is_refused) {
  const TemporaryFolder folder;
  const firstedge::Setup setup = files_of_records(folder, {1}, {});
  for (const RecordPart part : {RecordPart{0, 3}, {4, 3}, {1, 0}, {1, most_parts + 1}}) {
    EXPECT_NE(test::sentence_of([&] { range_of(part, {folder.path()}, setup); }), "") << part.number;
  }
}

}  // namespace
}  // namespace firstedge
