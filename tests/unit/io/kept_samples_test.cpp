// Samples decoded from bytes that may be kept against samples copied.
#include "firstedge/io/binary_samples.hpp"

#include <algorithm>
#include <bit>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::vector<std::byte> some_bytes(std::size_t size) {
  std::vector<std::byte> bytes(size);
  for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::byte>((i * 37 + 11) % 120);
  return bytes;
}

void expect_equal_rows(const DecodedSamples& a, const DecodedSamples& b) {
  ASSERT_EQ(a.rows.size(), b.rows.size());
  for (std::size_t row = 0; row < a.rows.size(); ++row) {
    ASSERT_EQ(a.rows[row].index(), b.rows[row].index());
    std::visit(
        [&](const auto& samples) {
          const auto& others = std::get<std::decay_t<decltype(samples)>>(b.rows[row]);
          EXPECT_TRUE(std::equal(samples.begin(), samples.end(), others.begin(), others.end()));
        },
        a.rows[row]);
  }
}

TEST(kept_samples, are_those_that_are_copied_for_every_type_order_and_place) {
  for (const SampleType type :
       {SampleType::int8, SampleType::uint8, SampleType::int16, SampleType::uint16, SampleType::int32,
        SampleType::uint32, SampleType::float32, SampleType::float64}) {
    const std::size_t size = bytes_of(type);
    for (const bool big_endian : {false, true}) {
      for (const std::size_t first : {std::size_t{0}, std::size_t{3}, std::size_t{8}}) {
        for (const bool by_sample : {false, true}) {
          const SampleGrid grid{.records = 3,
                                .channels = 2,
                                .samples = 5,
                                .first = first,
                                .record_stride = 10 * size,
                                .channel_stride = by_sample ? size : 5 * size,
                                .sample_stride = by_sample ? 2 * size : size};
          const std::vector<std::byte> bytes = some_bytes(first + 30 * size);
          const SampleCoding coding{.type = type, .big_endian = big_endian};
          const DecodedSamples copied = decode_samples(std::span<const std::byte>(bytes), coding, grid);
          expect_equal_rows(decode_samples(std::vector<std::byte>(bytes), coding, grid), copied);
        }
      }
    }
  }
}

TEST(kept_samples, in_the_machines_own_order_are_not_copied) {
  std::vector<std::byte> bytes = some_bytes(40);
  const std::byte* place = bytes.data();
  const SampleGrid grid{.records = 2, .channels = 1, .samples = 10, .record_stride = 20, .sample_stride = 2};
  const DecodedSamples kept =
      decode_samples(std::move(bytes), {SampleType::int16, std::endian::native == std::endian::big}, grid);
  const auto& samples = std::get<std::span<const std::int16_t>>(kept.rows[1]);
  EXPECT_EQ(static_cast<const void*>(samples.data()), static_cast<const void*>(place + 20));
}

}  // namespace
}  // namespace firstedge
