// Writing HDF5 so that the same input gives the same bytes: no clock times, blocks of a fixed size. For the
// files of lib/io alone; call everything here under Hdf5Guard.
#pragma once

#include "firstedge/io/hdf5_guard.hpp"
#include "firstedge/io/hdf5_packing.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// A new HDF5 file (replacing what stands there) that HDF5 1.8 and later can read. Throws H5::Exception.
H5::H5File create_hdf5(const std::filesystem::path& file);

/// Makes a file that cannot be completed (a full disk, say) ready to be closed: what HDF5 still holds goes
/// into memory instead. Closing a file that cannot be written leaves HDF5 1.10 with a dangling handle that it
/// follows at the next close or at the end of the program.
void abandon_hdf5(const H5::H5File& file);

H5::Group create_group(const H5::Group& where, const std::string& name);

void write_attribute(H5::H5Object& object, const std::string& name, double value);
void write_attribute(H5::H5Object& object, const std::string& name, std::uint64_t value);
/// Texts are UTF-8 of fixed length: text of variable length cannot be read back safely from a hostile file.
void write_attribute(H5::H5Object& object, const std::string& name, const std::string& text);
void write_attribute(H5::H5Object& object, const std::string& name, const std::vector<std::string>& texts);

/// UTF-8 text type of `bytes` bytes (at least 1), padded with zeros.
H5::StrType text_type(std::size_t bytes);

struct Hdf5RowsLayout {
  H5::DataType element;
  std::optional<std::uint64_t> elements_in_row = {};  ///< nothing: a 1-D dataset, one element a row
  std::uint64_t rows_in_chunk = 1;
  std::uint64_t elements_in_chunk = 1;                ///< along the row, for 2-D datasets
  int deflate_level = 4;                              ///< with shuffle; 0: not compressed
  std::optional<std::uint64_t> contiguous_rows = {};  ///< this many rows, not chunked
};

/// A dataset that grows row by row. Rows are held back until a chunk is full, so that the file does not
/// depend on how many are handed over at a time. Chunks of one dimension are deflated by other threads
/// meanwhile, at most most_chunks_on_the_way of them, and written in order.
class Hdf5Rows {
 public:
  Hdf5Rows(const H5::Group& where, const std::string& name, const Hdf5RowsLayout& layout);
  ~Hdf5Rows() = default;
  Hdf5Rows(const Hdf5Rows&) = delete;
  Hdf5Rows& operator=(const Hdf5Rows&) = delete;

  /// Whole rows, in the byte order of the machine. Throws H5::Exception.
  void append(std::span<const std::byte> rows);
  std::uint64_t rows() const { return rows_written_ + held_.size() / row_bytes_; }
  H5::DataSet& dataset() { return dataset_; }
  /// Writes what is held back. Throws H5::Exception.
  void flush();

 private:
  static constexpr std::size_t most_chunks_on_the_way = 4;

  void write_held();
  void pack_held();
  void write_packed(const std::vector<std::byte>& packed);
  void extend_to(hsize_t rows);

  H5::DataType element_;
  std::vector<hsize_t> row_shape_;  ///< of one row, with 1 for the rows
  bool grows_ = true;
  std::size_t row_bytes_ = 0, flush_bytes_ = 0;
  std::uint64_t rows_written_ = 0;  ///< or on their way
  std::vector<std::byte> held_;
  H5::DataSet dataset_;
  std::unique_ptr<ChunkPacker> packer_;  ///< of deflated datasets of one dimension
  std::uint64_t chunks_written_ = 0;     ///< those that were packed
};

/// The bytes of one number, for Hdf5Rows::append.
template <class Number>
std::span<const std::byte> bytes_of(const Number& number) {
  return std::as_bytes(std::span(&number, 1));
}

}  // namespace firstedge
