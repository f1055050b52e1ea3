// The schedule of tracks and the checksum rule against public files.
#include "firstedge/clock/track_schedule.hpp"

#include "firstedge/io/cggtts_file.hpp"

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr std::int64_t at(std::int64_t hour, std::int64_t minute) {
  return hour * 3600 + minute * 60;
}

// Starts read in public CGGTTS files of these days (GZSY8259.548, EZGTR60.258 and others); the rule is that
// of Rapport BIPM-93/6, from memory.
TEST(track_schedule_reference, days_of_public_files) {
  const auto day = track_starts(59548);
  EXPECT_EQ(day.size(), 89U);
  EXPECT_EQ(day.front(), at(0, 10));
  EXPECT_EQ(day.back(), at(23, 50));
  // 28 minutes between the end of one cycle and the begin of the next: 09:30 and 09:58.
  std::size_t i = 0;
  while (day[i] != at(9, 30)) ASSERT_LT(++i, day.size());
  EXPECT_EQ(day[i + 1], at(9, 58));
  EXPECT_EQ(track_starts(60258).front(), at(0, 10));
  EXPECT_EQ(track_starts(57000).front(), at(0, 6));
  EXPECT_EQ(track_starts(59509)[0], at(0, 6));
  EXPECT_EQ(track_starts(59509)[1], at(0, 22));
  EXPECT_EQ(track_starts(50722).front(), at(0, 2));
}

// Derived from the rule (the sum of the bytes modulo 256): 'C' is 67, a blank 32, '0' 48.
TEST(track_schedule_reference, checksums_are_sums_of_bytes) {
  EXPECT_EQ(cggtts_sum(""), 0);
  EXPECT_EQ(cggtts_sum("C 0"), 147);
  EXPECT_EQ(cggtts_sum("CCCC"), 268 - 256);
  EXPECT_EQ(cggtts_sum("\xff\x02"), 1);
}

}  // namespace
}  // namespace firstedge
