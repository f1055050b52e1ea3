// Promise: a result's provenance names each input file with its size and digest, folders opened up.
#include "firstedge/io/input_digests.hpp"

#include "firstedge/core/error.hpp"

#include "support/temporary_folder.hpp"

#include <chrono>
#include <filesystem>
#include <fstream>
#include <string>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

TEST(input_digests, each_file_of_a_folder_has_name_size_and_sha_256) {
  const std::filesystem::path folder = std::filesystem::path(testing::TempDir()) / "input_digests";
  std::filesystem::create_directories(folder);
  std::ofstream(folder / "run_10.txt") << "";
  std::ofstream(folder / "run_2.txt") << "abc";
  const std::vector<Provenance::Input> inputs = input_digests({folder});
  ASSERT_EQ(inputs.size(), 2U);
  EXPECT_EQ(inputs[0].name, "run_2.txt");
  EXPECT_EQ(inputs[0].bytes, 3U);
  // FIPS 180-4's example of one block, "abc", and the digest of no bytes (its test vectors, NIST CAVP).
  EXPECT_EQ(inputs[0].sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(inputs[1].sha256, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  EXPECT_THROW(input_digests({folder / "nowhere"}), Error);
  std::filesystem::remove_all(folder);
}

TEST(input_digests, those_taken_beside_the_work_are_the_same_and_a_change_of_a_file_is_seen) {
  const test::TemporaryFolder folder;
  for (int i = 0; i < 40; ++i) folder.write("run_" + std::to_string(i), std::string(1000 * i, 'x'));
  const auto at_once = input_digests({folder.path()});
  InputDigests beside({folder.path()});
  ASSERT_EQ(beside.names().size(), at_once.size());
  ASSERT_EQ(beside.wait().size(), at_once.size());
  EXPECT_TRUE(beside.are_known());
  for (std::size_t i = 0; i < at_once.size(); ++i) {
    EXPECT_EQ(beside.names()[i].name, at_once[i].name);
    EXPECT_EQ(beside.names()[i].bytes, at_once[i].bytes);
    EXPECT_EQ(beside.names()[i].sha256.size(), at_once[i].sha256.size());
    EXPECT_EQ(beside.wait()[i].sha256, at_once[i].sha256);
  }
  EXPECT_TRUE(beside.are_unchanged());
  const auto changed = std::filesystem::last_write_time(folder / "run_7") + std::chrono::seconds(1);
  std::filesystem::last_write_time(folder / "run_7", changed);
  EXPECT_FALSE(beside.are_unchanged());
  EXPECT_NE(InputDigests({folder.path()}).state(), beside.state());
  EXPECT_THROW(InputDigests({folder / "nowhere"}), Error);
}

}  // namespace
}  // namespace firstedge
