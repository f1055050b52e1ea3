// The floor of reading compressed files: the chunks of a dataset, taken as they are stored, are inflated by
// one core and nothing is done with them. Reading them is not counted. Usage: inflate_hdf5 FILE DATASET;
// prints the microseconds that inflating took a row, the best of several passes.
#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <limits>
#include <memory>
#include <vector>

#include <hdf5.h>
#include <libdeflate.h>

namespace {

constexpr hsize_t most_chunks = 256;
constexpr int passes = 7;

struct StoredChunks {
  std::vector<std::vector<char>> stored;
  hsize_t rows = 0, bytes = 0;  // of a chunk
};

StoredChunks first_chunks(const char* file_name, const char* dataset_name) {
  StoredChunks chunks;
  const hid_t file = H5Fopen(file_name, H5F_ACC_RDONLY, H5P_DEFAULT);
  const hid_t dataset = H5Dopen2(file, dataset_name, H5P_DEFAULT);
  if (file < 0 || dataset < 0) return chunks;
  const hid_t creation = H5Dget_create_plist(dataset), type = H5Dget_type(dataset),
              space = H5Dget_space(dataset);
  hsize_t shape[2] = {0, 0}, chunk[2] = {0, 0};
  if (H5Sget_simple_extent_dims(space, shape, nullptr) == 2 && H5Pget_chunk(creation, 2, chunk) == 2) {
    chunks.rows = chunk[0];
    chunks.bytes = chunk[0] * chunk[1] * H5Tget_size(type);
    for (hsize_t i = 0; i < std::min(most_chunks, shape[0] / chunk[0]); ++i) {
      const hsize_t offset[2] = {i * chunk[0], 0};
      hsize_t size = 0;
      std::uint32_t filters = 0;
      if (H5Dget_chunk_storage_size(dataset, offset, &size) < 0) break;
      if (H5Dread_chunk(dataset, H5P_DEFAULT, offset, &filters, chunks.stored.emplace_back(size).data()) < 0)
        break;
    }
  }
  for (const auto close :
       {H5Sclose(space), H5Tclose(type), H5Pclose(creation), H5Dclose(dataset), H5Fclose(file)})
    if (close < 0) return {};
  return chunks;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  const StoredChunks chunks = first_chunks(argv[1], argv[2]);
  if (chunks.stored.empty()) return 2;
  const std::unique_ptr<libdeflate_decompressor, decltype(&libdeflate_free_decompressor)> inflater(
      libdeflate_alloc_decompressor(), &libdeflate_free_decompressor);
  std::vector<char> inflated(chunks.bytes);
  double best_us = std::numeric_limits<double>::infinity();
  for (int pass = 0; pass < passes; ++pass) {
    const auto start = std::chrono::steady_clock::now();
    for (const std::vector<char>& chunk : chunks.stored) {
      std::size_t size = 0;
      if (libdeflate_zlib_decompress(inflater.get(), chunk.data(), chunk.size(), inflated.data(),
                                     inflated.size(), &size) != LIBDEFLATE_SUCCESS)
        return 2;
    }
    const std::chrono::duration<double, std::micro> took = std::chrono::steady_clock::now() - start;
    best_us = std::min(best_us, took.count() / static_cast<double>(chunks.stored.size() * chunks.rows));
  }
  std::printf("%.6f\n", best_us);
  return 0;
}
