// Promise: a result's provenance names each input file with its size and digest, folders opened up.
#include "firstedge/io/input_digests.hpp"

#include "firstedge/core/error.hpp"

#include <filesystem>
#include <fstream>

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

}  // namespace
}  // namespace firstedge
