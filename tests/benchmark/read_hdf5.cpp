// The reference of reading: the HDF5 library alone takes a dataset from its first record to its last, a
// block of records at a time into one buffer, and does nothing with it.
// Usage: read_hdf5 FILE DATASET; prints the seconds that reading took.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <vector>

#include <hdf5.h>

namespace {

constexpr hsize_t bytes_in_block = hsize_t{8} << 20U;

int read_all(const char* file_name, const char* dataset_name) {
  const hid_t file = H5Fopen(file_name, H5F_ACC_RDONLY, H5P_DEFAULT);
  const hid_t dataset = H5Dopen2(file, dataset_name, H5P_DEFAULT);
  if (file < 0 || dataset < 0) return 2;
  const hid_t type = H5Dget_type(dataset);
  const hid_t space = H5Dget_space(dataset);
  hsize_t shape[2] = {0, 0};
  if (H5Sget_simple_extent_ndims(space) != 2) return 2;
  H5Sget_simple_extent_dims(space, shape, nullptr);
  const hsize_t row_bytes = shape[1] * H5Tget_size(type);
  const hsize_t rows = std::max<hsize_t>(1, bytes_in_block / row_bytes);
  std::vector<char> buffer(rows * row_bytes);
  for (hsize_t first = 0; first < shape[0]; first += rows) {
    const hsize_t start[2] = {first, 0};
    const hsize_t count[2] = {std::min(rows, shape[0] - first), shape[1]};
    const hid_t in_memory = H5Screate_simple(2, count, nullptr);
    H5Sselect_hyperslab(space, H5S_SELECT_SET, start, nullptr, count, nullptr);
    if (H5Dread(dataset, type, in_memory, space, H5P_DEFAULT, buffer.data()) < 0) return 2;
    H5Sclose(in_memory);
  }
  H5Sclose(space);
  H5Tclose(type);
  H5Dclose(dataset);
  H5Fclose(file);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  const auto start = std::chrono::steady_clock::now();
  const int status = read_all(argv[1], argv[2]);
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
  std::printf("%.6f\n", took.count());
  return status;
}
