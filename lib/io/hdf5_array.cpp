#include "firstedge/io/hdf5_array.hpp"

#include "firstedge/core/threads.hpp"

#include <algorithm>
#include <cassert>
#include <cstring>
#include <functional>
#include <limits>
#include <numeric>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Extents = std::vector<std::uint64_t>;

constexpr std::size_t most_axes = 4;
// Chunks are decoded together up to this size, or one if it is larger.
constexpr std::uint64_t bytes_decoded_at_once = std::uint64_t{8} << 20U;
// No dataset that we read has more bytes than this, so that sums and products of sizes fit 64 bits.
constexpr std::uint64_t most_bytes = std::uint64_t{1} << 60U;

// The product, or nothing beyond most_bytes.
std::optional<std::uint64_t> bounded_product(const Extents& extents, std::uint64_t start) {
  std::uint64_t product = start;
  for (const std::uint64_t extent : extents) {
    if (extent != 0 && product > most_bytes / extent) return std::nullopt;
    product *= extent;
  }
  return product;
}

std::uint64_t product_of(const Extents& extents) {
  return std::accumulate(extents.begin(), extents.end(), std::uint64_t{1}, std::multiplies<>());
}

// Steps through all places of a box of `counts` but the last axis; false after the last.
bool next_row(Extents& at, const Extents& counts) {
  for (std::size_t axis = counts.size() - 1; axis-- > 0;) {
    if (++at[axis] < counts[axis]) return true;
    at[axis] = 0;
  }
  return false;
}

// Position of `at` in a row-major array of this shape.
std::size_t position(const Extents& at, const Extents& shape) {
  std::size_t index = 0;
  for (std::size_t axis = 0; axis < shape.size(); ++axis) index = index * shape[axis] + at[axis];
  return index;
}

// Where a chunk and a box meet.
Hdf5Array::Box meeting(const Hdf5Array::Box& box, const Extents& chunk_start, const Extents& chunk) {
  Hdf5Array::Box common = box;
  for (std::size_t axis = 0; axis < chunk.size(); ++axis) {
    const std::uint64_t first = std::max(box.start[axis], chunk_start[axis]);
    const std::uint64_t last = std::min(box.start[axis] + box.count[axis], chunk_start[axis] + chunk[axis]);
    common.start[axis] = first;
    common.count[axis] = last - first;
  }
  return common;
}

// Copies the part `common` of a chunk into its place in a box.
void copy_common(const Hdf5Array::Box& common, const std::vector<std::byte>& chunk_bytes,
                 const Extents& chunk_start, const Extents& chunk, std::vector<std::byte>& box_bytes,
                 const Hdf5Array::Box& box, std::size_t element_bytes) {
  Extents in_chunk = common.start, in_box = common.start;
  for (std::size_t axis = 0; axis < chunk.size(); ++axis) {
    in_chunk[axis] -= chunk_start[axis];
    in_box[axis] -= box.start[axis];
  }
  const std::size_t from = position(in_chunk, chunk), to = position(in_box, box.count);
  const std::size_t row_bytes = common.count.back() * element_bytes;
  Extents row(common.count.size(), 0);
  do {
    std::memcpy(box_bytes.data() + (to + position(row, box.count)) * element_bytes,
                chunk_bytes.data() + (from + position(row, chunk)) * element_bytes, row_bytes);
  } while (next_row(row, common.count));
}

}  // namespace

Hdf5Array::Hdf5Array(const Hdf5File& file, const std::string& path)
    : place_(file.place(path)), file_bytes_(file.bytes()) {
  const Hdf5Guard guard;
  dataset_.emplace(file.dataset(path));
  guarded(place_, "cannot be opened", "the file is damaged", [&] {
    const H5::DSetCreatPropList properties = dataset_->getCreatePlist();
    refuse_what_is_elsewhere(properties);
    type_.emplace(dataset_->getDataType());
    element_bytes_ = type_->getSize();
    if (H5Tdetect_class(type_->getId(), H5T_VLEN) > 0 || H5Tis_variable_str(type_->getId()) > 0) {
      throw Error(place_, "holds elements of variable length", "write numbers of a fixed size");
    }
    take_shape();
    if (properties.getLayout() == H5D_CHUNKED) {
      take_chunks(properties);
    } else {
      refuse_short_storage();
    }
  });
}

Hdf5Array::~Hdf5Array() {
  const Hdf5Guard guard;
  type_.reset();
  dataset_.reset();
}

void Hdf5Array::refuse_what_is_elsewhere(const H5::DSetCreatPropList& properties) const {
  const H5D_layout_t layout = properties.getLayout();
  if (layout == H5D_VIRTUAL) {
    throw Error(place_, "is a virtual dataset, made of other files that are never followed",
                "copy it into a dataset of its own");
  }
  if (layout != H5D_CHUNKED && layout != H5D_CONTIGUOUS && layout != H5D_COMPACT) {
    throw Error(place_, "is stored in an unknown way", "the file is damaged or too new");
  }
  if (checked(H5Pget_external_count(properties.getId())) > 0) {
    throw Error(place_, "keeps its data in another file, which is never followed",
                "copy the data into this file");
  }
}

void Hdf5Array::take_shape() {
  const H5::DataSpace space = dataset_->getSpace();
  const H5S_class_t kind = space.getSimpleExtentType();
  if (kind == H5S_SCALAR) {
    scalar_ = true;
    shape_ = {1};
    return;
  }
  const int axes = kind == H5S_SIMPLE ? space.getSimpleExtentNdims() : 0;
  if (axes < 1 || axes > static_cast<int>(most_axes)) {
    throw Error(place_, fmt::format("has {} dimensions", axes), "datasets of 1 to 4 are read");
  }
  std::vector<hsize_t> shape(static_cast<std::size_t>(axes));
  space.getSimpleExtentDims(shape.data());
  shape_.assign(shape.begin(), shape.end());
  if (element_bytes_ == 0 || !bounded_product(shape_, element_bytes_)) {
    throw Error(place_, "declares more data than any disk holds", "the file is damaged");
  }
}

void Hdf5Array::take_chunks(const H5::DSetCreatPropList& properties) {
  filters_ = chunk_filters(properties, place_);
  std::vector<hsize_t> chunk(shape_.size());
  if (properties.getChunk(static_cast<int>(chunk.size()), chunk.data()) != static_cast<int>(shape_.size())) {
    throw Error(place_, "has chunks of another number of dimensions", "the file is damaged");
  }
  chunk_.assign(chunk.begin(), chunk.end());
  const auto bytes = bounded_product(chunk_, element_bytes_);
  if (!bytes || *bytes == 0 || *bytes > most_chunk_bytes) {
    throw Error(place_, "has chunks above 1 GiB",
                "repack it with smaller ones, as 'h5repack -l CHUNK=64x1000'");
  }
  unsigned options = 0;
  checked(H5Pget_chunk_opts(properties.getId(), &options));
  partial_chunks_unfiltered_ = (options & H5D_CHUNK_DONT_FILTER_PARTIAL_CHUNKS) != 0;
}

// HDF5 1.10 reads contiguous and compact data by the shape, without looking whether that much is stored.
void Hdf5Array::refuse_short_storage() const {
  const std::uint64_t declared = elements() * element_bytes_;
  const std::uint64_t stored = dataset_->getStorageSize();
  if (declared == 0 || stored == declared) return;
  if (stored == 0) throw Error(place_, "was never written", "write it, or take it out of the file");
  throw Error(place_, fmt::format("declares {} bytes and stores {}", declared, stored),
              "the file is damaged: copy it again");
}

std::uint64_t Hdf5Array::elements() const {
  return product_of(shape_);
}

std::uint64_t Hdf5Array::chunk_elements() const {
  return product_of(chunk_);
}

void Hdf5Array::require_stored(std::uint64_t wanted) const {
  if (wanted == 0) return;
  const std::uint64_t stored = guarded(place_, "cannot be measured", "the file is damaged", [&] {
    return std::min<std::uint64_t>(dataset_->getStorageSize(), file_bytes_);
  });
  const bool deflated = std::find(filters_.begin(), filters_.end(), ChunkFilter::deflate) != filters_.end();
  const std::uint64_t expansion = deflated ? largest_expansion : 1;
  if (wanted > most_bytes / element_bytes_ || wanted * element_bytes_ / expansion > stored) {
    throw Error(
        place_,
        fmt::format("declares {} elements, more than the {} bytes stored for it can hold", wanted, stored),
        "cut it to what was written, or say in the Setup how many records to read");
  }
}

Hdf5Array::Content Hdf5Array::read(const Box& box) {
  assert(box.start.size() == shape_.size() && box.count.size() == shape_.size());
  for (std::size_t axis = 0; axis < shape_.size(); ++axis) {
    assert(box.count[axis] <= shape_[axis] && box.start[axis] <= shape_[axis] - box.count[axis]);
  }
  if (product_of(box.count) == 0) return {};
  if (chunk_.empty()) return read_whole(box);

  ++reads_;
  Content content{std::vector<std::byte>(product_of(box.count) * element_bytes_), {}};
  Extents first(chunk_.size()), chunks(chunk_.size());
  for (std::size_t axis = 0; axis < chunk_.size(); ++axis) {
    first[axis] = box.start[axis] / chunk_[axis];
    chunks[axis] = (box.start[axis] + box.count[axis] - 1) / chunk_[axis] - first[axis] + 1;
  }
  // One axis more, of one element, makes next_row step through every chunk.
  Extents steps = chunks;
  steps.push_back(1);
  Extents at(steps.size(), 0);
  std::vector<Extents> starts;
  do {
    Extents start(chunk_.size());
    for (std::size_t axis = 0; axis < chunk_.size(); ++axis)
      start[axis] = (first[axis] + at[axis]) * chunk_[axis];
    starts.push_back(std::move(start));
  } while (next_row(at, steps));

  const std::uint64_t chunk_bytes = std::max<std::uint64_t>(1, chunk_elements() * element_bytes_);
  const std::size_t at_once = std::max<std::uint64_t>(1, bytes_decoded_at_once / chunk_bytes);
  for (std::size_t done = 0; done < starts.size(); done += at_once) {
    const std::span some = std::span(starts).subspan(done, std::min(at_once, starts.size() - done));
    const std::vector<Chunk> decoded = chunks_at(some);
    for (std::size_t k = 0; k < some.size(); ++k) {
      const Box common = meeting(box, some[k], chunk_);
      if (decoded[k]->problem.empty()) {
        copy_common(common, decoded[k]->bytes, some[k], chunk_, content.bytes, box, element_bytes_);
      } else {
        content.damage.push_back({common, decoded[k]->problem});
      }
    }
  }
  return content;
}

Hdf5Array::Content Hdf5Array::read_whole(const Box& box) {
  Content content{std::vector<std::byte>(product_of(box.count) * element_bytes_), {}};
  const Hdf5Guard guard;
  try {
    if (scalar_) {
      dataset_->read(content.bytes.data(), *type_);
      return content;
    }
    const std::vector<hsize_t> start(box.start.begin(), box.start.end());
    const std::vector<hsize_t> count(box.count.begin(), box.count.end());
    H5::DataSpace in_file = dataset_->getSpace();
    in_file.selectHyperslab(H5S_SELECT_SET, count.data(), start.data());
    const H5::DataSpace in_memory(static_cast<int>(count.size()), count.data());
    dataset_->read(content.bytes.data(), *type_, in_memory, in_file);
  } catch (const H5::Exception&) {
    content.damage.push_back({box, "cannot be read (the file is shorter than it says, or the disk fails)"});
  }
  return content;
}

// The library gives the bytes one chunk after the other; filters are undone by as many threads as there are.
std::vector<Hdf5Array::Chunk> Hdf5Array::chunks_at(std::span<const Extents> starts) {
  std::vector<Chunk> chunks(starts.size());
  std::vector<Stored> stored(starts.size());
  for (std::size_t k = 0; k < starts.size(); ++k) {
    if (const auto found = cache_.find(starts[k]); found != cache_.end()) {
      chunks[k] = found->second.chunk;
    } else {
      stored[k] = stored_at(starts[k]);
    }
  }
  chunks_decoded_ += static_cast<std::uint64_t>(std::count(chunks.begin(), chunks.end(), nullptr));
  const auto decode = [&](std::size_t k) {
    if (!chunks[k]) chunks[k] = std::make_shared<const Unfiltered>(decoded(std::move(stored[k]), starts[k]));
  };
  by_all_threads(starts.size(), decode);
  for (std::size_t k = 0; k < starts.size(); ++k) keep(starts[k], chunks[k]);
  forget_old();
  return chunks;
}

void Hdf5Array::keep(const Extents& start, const Chunk& chunk) {
  const auto [place, is_new] = cache_.try_emplace(start, Kept{chunk, reads_});
  place->second.last_read = reads_;
  if (is_new) cached_bytes_ += chunk->bytes.size();
}

// Chunks that were not asked for again make room, so that memory that is at hand serves the next; where there
// is too little, the last of this read stays, which the next begins in.
void Hdf5Array::forget_old() {
  const auto forget_read_before = [&](std::uint64_t read) {
    std::erase_if(cache_, [&](const auto& one) {
      if (one.second.last_read >= read) return false;
      cached_bytes_ -= one.second.chunk->bytes.size();
      return true;
    });
  };
  forget_read_before(reads_ - std::min(reads_, reads_kept));
  if (cached_bytes_ > cache_bytes) forget_read_before(reads_);
  while (cached_bytes_ > cache_bytes && cache_.size() > 1) {
    cached_bytes_ -= cache_.begin()->second.chunk->bytes.size();
    cache_.erase(cache_.begin());
  }
}

Hdf5Array::Stored Hdf5Array::stored_at(const Extents& start) const {
  const std::size_t bytes = chunk_elements() * element_bytes_;
  const std::vector<hsize_t> offset(start.begin(), start.end());
  Stored stored;
  const Hdf5Guard guard;
  hsize_t stored_bytes = 0;
  if (H5Dget_chunk_storage_size(dataset_->getId(), offset.data(), &stored_bytes) < 0 || stored_bytes == 0) {
    stored.problem = "was never written, or the list of blocks is damaged";
    return stored;
  }
  // Filters may lengthen what they cannot compress: deflate by a thousandth, a checksum by 4 bytes.
  if (stored_bytes > file_bytes_ || stored_bytes > bytes + bytes / 64 + 1024) {
    stored.problem = "is damaged (longer than it may be)";
    return stored;
  }
  stored.bytes.resize(stored_bytes);
  if (H5Dread_chunk(dataset_->getId(), H5P_DEFAULT, offset.data(), &stored.skipped, stored.bytes.data()) < 0)
    stored.problem = "cannot be read";
  return stored;
}

Unfiltered Hdf5Array::decoded(Stored stored, const Extents& start) const {
  if (!stored.problem.empty()) return {{}, stored.problem};
  bool partial = false;
  for (std::size_t axis = 0; axis < chunk_.size(); ++axis)
    partial = partial || start[axis] + chunk_[axis] > shape_[axis];
  if (partial && partial_chunks_unfiltered_) stored.skipped = std::numeric_limits<std::uint32_t>::max();
  return unfiltered(std::move(stored.bytes), filters_, stored.skipped, element_bytes_,
                    chunk_elements() * element_bytes_);
}

}  // namespace firstedge
