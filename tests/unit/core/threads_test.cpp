// Work shared out to all threads, and their number.
#include "firstedge/core/threads.hpp"

#include "firstedge/core/error.hpp"

#include <atomic>
#include <cstddef>
#include <string>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

TEST(threads, every_call_is_made_once_and_what_they_make_stands_in_order) {
  std::vector<int> calls(1000);
  by_all_threads(calls.size(), [&](std::size_t i) { ++calls[i]; });
  EXPECT_EQ(calls, std::vector<int>(1000, 1));

  const auto made = made_by_all_threads(1000, [](std::size_t i) { return std::to_string(i); });
  ASSERT_EQ(made.size(), 1000u);
  for (std::size_t i = 0; i < made.size(); ++i) EXPECT_EQ(made[i], std::to_string(i));
  EXPECT_TRUE(made_by_all_threads(0, [](std::size_t i) { return i; }).empty());
}

TEST(threads, calls_that_throw_hold_up_no_other_and_the_lowest_number_is_heard) {
  std::atomic<int> calls = 0;
  try {
    by_all_threads(100, [&](std::size_t i) {
      ++calls;
      if (i % 30 == 7) throw Error("call " + std::to_string(i), "fails", "none");
    });
    FAIL() << "nothing was thrown";
  } catch (const Error& error) {
    EXPECT_EQ(error.place(), "call 7");
  }
  EXPECT_EQ(calls, 100);
}

TEST(threads, work_within_work_is_shared_out_too) {
  std::atomic<int> calls = 0;
  by_all_threads(10, [&](std::size_t) { by_all_threads(10, [&](std::size_t) { ++calls; }); });
  EXPECT_EQ(calls, 100);
}

TEST(threads, a_limit_of_one_leaves_all_work_to_the_caller) {
  const ThreadLimit limit(1);
  EXPECT_EQ(limit.threads(), 1);
  const auto ids = made_by_all_threads(200, [](std::size_t) { return std::this_thread::get_id(); });
  for (const std::thread::id id : ids) EXPECT_EQ(id, std::this_thread::get_id());
}

TEST(threads, no_limit_stated_means_what_the_machine_has) {
  EXPECT_GE(ThreadLimit(0).threads(), 1);
}

}  // namespace
}  // namespace firstedge
