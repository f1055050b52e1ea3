// How often chunks are decoded when an array is read box by box.
#include "firstedge/io/hdf5_array.hpp"

#include "firstedge/io/hdf5_input.hpp"

#include "support/hdf5_maker.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::Maker;
using test::TemporaryFolder;

// A deflated dataset of int16, whose element (i, j) is i + j, modulo 1000, in chunks of whole rows.
void write_rows(const std::filesystem::path& file, hsize_t rows, hsize_t columns, hsize_t rows_in_chunk) {
  std::vector<std::int16_t> values(rows * columns);
  for (hsize_t i = 0; i < rows; ++i)
    for (hsize_t j = 0; j < columns; ++j) values[i * columns + j] = static_cast<std::int16_t>((i + j) % 1000);
  H5::DSetCreatPropList properties;
  const std::vector<hsize_t> chunk{rows_in_chunk, columns};
  properties.setChunk(2, chunk.data());
  properties.setDeflate(1);
  Maker maker(file);
  maker.dataset("rows", H5::PredType::STD_I16LE, {rows, columns}, values.data(), H5::PredType::NATIVE_INT16,
                properties);
}

// Decoded when all rows are read, so many at a time.
std::uint64_t decoded_by_boxes(const std::filesystem::path& file, std::uint64_t rows_at_once) {
  const Hdf5File opened(file);
  Hdf5Array array(opened, "/rows");
  const std::uint64_t rows = array.shape()[0], columns = array.shape()[1];
  for (std::uint64_t first = 0; first < rows; first += rows_at_once) {
    const std::uint64_t count = std::min(rows_at_once, rows - first);
    const Hdf5Array::Content content = array.read({.start = {first, 0}, .count = {count, columns}});
    EXPECT_TRUE(content.damage.empty());
    EXPECT_EQ(content.bytes.size(), count * columns * 2);
  }
  return array.chunks_decoded();
}

TEST(hdf5_array, a_chunk_that_two_boxes_share_is_decoded_once) {
  const TemporaryFolder folder;
  write_rows(folder / "rows.h5", 1000, 50, 64);
  EXPECT_EQ(decoded_by_boxes(folder / "rows.h5", 100), 16U);
  EXPECT_EQ(decoded_by_boxes(folder / "rows.h5", 7), 16U);
}

TEST(hdf5_array, one_chunk_larger_than_what_is_kept_is_decoded_once_too) {
  const TemporaryFolder folder;
  constexpr hsize_t columns = 512, rows = Hdf5Array::cache_bytes / (2 * columns) + 100;
  write_rows(folder / "rows.h5", rows, columns, rows);
  EXPECT_EQ(decoded_by_boxes(folder / "rows.h5", 8192), 1U);
}

}  // namespace
}  // namespace firstedge
