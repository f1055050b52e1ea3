// Claims of chunks packed for HDF5: its filters undo them, and they come back in order.
#include "firstedge/io/hdf5_packing.hpp"

#include "firstedge/io/hdf5_filters.hpp"

#include "support/random.hpp"

#include <array>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::vector<std::byte> some_bytes(std::size_t count, std::uint64_t seed) {
  test::Random random(seed);
  std::vector<std::byte> bytes(count);
  for (std::byte& byte : bytes) byte = static_cast<std::byte>(std::floor(random.uniform(0, 20)));
  return bytes;
}

std::vector<std::byte> unpacked(std::vector<std::byte> packed, std::size_t element_bytes, std::size_t size) {
  constexpr std::array filters{ChunkFilter::shuffle, ChunkFilter::deflate};
  const Unfiltered result = unfiltered(std::move(packed), filters, 0, element_bytes, size);
  EXPECT_EQ(result.problem, "");
  return result.bytes;
}

TEST(hdf5_packing, what_is_packed_is_what_the_filters_undo) {
  for (const std::size_t element_bytes : {1U, 2U, 4U, 7U, 100U}) {
    for (const std::size_t elements : {1U, 2U, 63U, 64U, 65U, 1000U}) {
      const auto chunk = some_bytes(elements * element_bytes, elements);
      EXPECT_EQ(unpacked(shuffled_and_deflated(chunk, element_bytes), element_bytes, chunk.size()), chunk)
          << element_bytes << " x " << elements;
    }
  }
}

TEST(hdf5_packing, chunks_come_back_in_order_however_many_are_on_their_way) {
  for (const std::size_t most : {0U, 1U, 5U, 40U}) {
    ChunkPacker packer(4);
    std::size_t taken = 0;
    const auto take = [&] {
      const auto chunk = some_bytes(4000, taken++);
      EXPECT_EQ(unpacked(packer.next(), 4, chunk.size()), chunk) << most;
    };
    for (std::size_t i = 0; i < 40; ++i) {
      packer.add(some_bytes(4000, i));
      while (packer.size() > most) take();
    }
    while (packer.size() > 0) take();
    EXPECT_EQ(taken, 40U);
  }
}

}  // namespace
}  // namespace firstedge
