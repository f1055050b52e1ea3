#include "firstedge/io/hdf5_output.hpp"

#include <algorithm>
#include <utility>

#include <sys/mman.h>
#include <unistd.h>

namespace firstedge {
namespace {

constexpr std::uint64_t contiguous_rows_at_a_time = 64;

void write_raw_attribute(H5::H5Object& object, const std::string& name, const H5::DataType& type,
                         const H5::DataSpace& space, const void* bytes) {
  H5::Attribute attribute =
      object.attrExists(name) ? object.openAttribute(name) : object.createAttribute(name, type, space);
  attribute.write(type, bytes);
}

H5::DSetCreatPropList creation_properties(const Hdf5RowsLayout& layout, std::size_t rank) {
  H5::DSetCreatPropList properties;
  checked(H5Pset_obj_track_times(properties.getId(), false));
  if (layout.contiguous_rows) {
    properties.setLayout(H5D_CONTIGUOUS);
    return properties;
  }
  const std::vector<hsize_t> chunk{layout.rows_in_chunk, layout.elements_in_chunk};
  properties.setChunk(static_cast<int>(rank), chunk.data());
  if (layout.deflate_level > 0) {
    properties.setShuffle();
    properties.setDeflate(layout.deflate_level);
  }
  return properties;
}

}  // namespace

H5::H5File create_hdf5(const std::filesystem::path& file) {
  H5::FileCreatPropList creation;
  checked(H5Pset_obj_track_times(creation.getId(), false));
  H5::FileAccPropList access;
  access.setLibverBounds(H5F_LIBVER_V18, H5F_LIBVER_V18);
  access.setFcloseDegree(H5F_CLOSE_STRONG);
  return {file.string(), H5F_ACC_TRUNC, creation, access};
}

void abandon_hdf5(const H5::H5File& file) {
  void* handle = nullptr;
  if (H5Fget_vfd_handle(file.getId(), H5P_DEFAULT, &handle) < 0 || handle == nullptr) return;
  const int memory = memfd_create("abandoned", MFD_CLOEXEC);
  if (memory < 0) return;
  dup2(memory, *static_cast<int*>(handle));  // of the default driver, the handle is a file descriptor
  close(memory);
}

H5::Group create_group(const H5::Group& where, const std::string& name) {
  const H5::PropList creation(H5P_GROUP_CREATE);
  checked(H5Pset_obj_track_times(creation.getId(), false));
  return wrapped<H5::Group>(
      checked(H5Gcreate2(where.getId(), name.c_str(), H5P_DEFAULT, creation.getId(), H5P_DEFAULT)));
}

H5::StrType text_type(std::size_t bytes) {
  H5::StrType type(H5::PredType::C_S1, std::max<std::size_t>(bytes, 1));
  type.setCset(H5T_CSET_UTF8);
  type.setStrpad(H5T_STR_NULLPAD);
  return type;
}

void write_attribute(H5::H5Object& object, const std::string& name, double value) {
  write_raw_attribute(object, name, H5::PredType::NATIVE_DOUBLE, H5::DataSpace(H5S_SCALAR), &value);
}

void write_attribute(H5::H5Object& object, const std::string& name, std::uint64_t value) {
  write_raw_attribute(object, name, H5::PredType::NATIVE_UINT64, H5::DataSpace(H5S_SCALAR), &value);
}

void write_attribute(H5::H5Object& object, const std::string& name, const std::string& text) {
  write_raw_attribute(object, name, text_type(text.size()), H5::DataSpace(H5S_SCALAR), text.c_str());
}

void write_attribute(H5::H5Object& object, const std::string& name, const std::vector<std::string>& texts) {
  std::size_t longest = 1;
  for (const std::string& text : texts) longest = std::max(longest, text.size());
  std::string padded;
  for (const std::string& text : texts) {
    padded += text;
    padded.append(longest - text.size(), '\0');
  }
  const hsize_t count = texts.size();
  write_raw_attribute(object, name, text_type(longest), H5::DataSpace(1, &count), padded.c_str());
}

Hdf5Rows::Hdf5Rows(const H5::Group& where, const std::string& name, const Hdf5RowsLayout& layout)
    : element_(layout.element), row_shape_{1}, grows_(!layout.contiguous_rows) {
  if (layout.elements_in_row) row_shape_.push_back(*layout.elements_in_row);
  row_bytes_ = element_.getSize() * layout.elements_in_row.value_or(1);
  flush_bytes_ = row_bytes_ * (grows_ ? layout.rows_in_chunk : contiguous_rows_at_a_time);

  std::vector<hsize_t> shape = row_shape_;
  std::vector<hsize_t> largest = row_shape_;
  shape.front() = layout.contiguous_rows.value_or(0);
  largest.front() = grows_ ? H5S_UNLIMITED : shape.front();
  const H5::DataSpace space(static_cast<int>(shape.size()), shape.data(), largest.data());
  dataset_ = where.createDataSet(name, element_, space, creation_properties(layout, shape.size()));
  if (grows_ && shape.size() == 1 && layout.deflate_level > 0)
    packer_ = std::make_unique<ChunkPacker>(element_.getSize());
}

void Hdf5Rows::append(std::span<const std::byte> rows) {
  while (!rows.empty()) {
    const std::size_t part = std::min(rows.size(), flush_bytes_ - held_.size());
    held_.insert(held_.end(), rows.begin(), rows.begin() + static_cast<std::ptrdiff_t>(part));
    rows = rows.subspan(part);
    if (held_.size() == flush_bytes_) packer_ ? pack_held() : write_held();
  }
}

void Hdf5Rows::flush() {
  if (held_.empty() && !packer_) return;
  if (!packer_) return write_held();
  if (!held_.empty()) pack_held();
  while (packer_->size() > 0) write_packed(packer_->next());
}

void Hdf5Rows::extend_to(hsize_t rows) {
  std::vector<hsize_t> shape = row_shape_;
  shape.front() = rows;
  dataset_.extend(shape.data());
}

// Hands the rows held to the packer, the last ones of a dataset with zeros behind them up to a whole chunk.
void Hdf5Rows::pack_held() {
  rows_written_ += held_.size() / row_bytes_;
  held_.resize(flush_bytes_);
  packer_->add(std::exchange(held_, {}));
  held_.reserve(flush_bytes_);
  // By their number, not by when they are packed, so that the file's bytes do not depend on the threads.
  while (packer_->size() > most_chunks_on_the_way) write_packed(packer_->next());
}

void Hdf5Rows::write_packed(const std::vector<std::byte>& packed) {
  const hsize_t rows_in_chunk = flush_bytes_ / row_bytes_;
  const hsize_t first = chunks_written_ * rows_in_chunk;
  extend_to(std::min<hsize_t>(first + rows_in_chunk, rows_written_));
  checked(H5Dwrite_chunk(dataset_.getId(), H5P_DEFAULT, 0, &first, packed.size(), packed.data()));
  ++chunks_written_;
}

void Hdf5Rows::write_held() {
  const hsize_t rows = held_.size() / row_bytes_;
  std::vector<hsize_t> shape = row_shape_;
  shape.front() = rows_written_ + rows;
  if (grows_) extend_to(shape.front());
  H5::DataSpace in_file = dataset_.getSpace();
  std::vector<hsize_t> start(shape.size(), 0);
  start.front() = rows_written_;
  shape.front() = rows;
  in_file.selectHyperslab(H5S_SELECT_SET, shape.data(), start.data());
  dataset_.write(held_.data(), element_, H5::DataSpace(static_cast<int>(shape.size()), shape.data()),
                 in_file);
  rows_written_ += rows;
  held_.clear();
}

}  // namespace firstedge
