// A good HDF5 file of records, and the ways to spoil it.
#pragma once

#include "firstedge/io/record_writer.hpp"

#include "support/random_records.hpp"

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <initializer_list>
#include <limits>
#include <string>
#include <vector>

#include <H5Cpp.h>

namespace firstedge::test {

using Path = std::filesystem::path;
using Change = H5::H5File&;

inline constexpr std::size_t records_made = 100, samples_made = 50;
inline constexpr double infinity = std::numeric_limits<double>::infinity();
inline const H5::DataSpace scalar(H5S_SCALAR);

// A good file in our own layout: channels "south" and "north", int16, in chunks of 100 records.
inline void write_good_file(const Path& file, RecordWriterOptions options = {}) {
  test::Random random(1);
  RecordBlock block;
  for (std::size_t i = 0; i < records_made; ++i) {
    Record& record = block.records.emplace_back();
    const Trace scale{.counts = {}, .interval_s = 1e-9, .volts_per_count = 1e-3};
    record.trigger = Instant{TimeScale::utc, 1'764'052'620, static_cast<std::int64_t>(i)};
    for (int channel = 0; channel < 2; ++channel) {
      record.traces.push_back(
          test::random_trace(random, std::span<const std::int16_t>(), samples_made, scale, block));
    }
  }
  options.channels = {"south", "north"};
  RecordWriter writer(file, options);
  writer.write(block);
  writer.finish();
}

// The good file after a change.
inline void with_change(const Path& path, void (*change)(H5::H5File&)) {
  write_good_file(path);
  H5::H5File file(path.string(), H5F_ACC_RDWR);
  change(file);
}

inline void replace_number(H5::H5File& file, const char* attribute, double value) {
  H5::DataSet dataset = file.openDataSet("/channels/south");
  dataset.removeAttr(attribute);
  dataset.createAttribute(attribute, H5::PredType::NATIVE_DOUBLE, scalar)
      .write(H5::PredType::NATIVE_DOUBLE, &value);
}

template <class Object>
inline void write_text(Object&& object, const char* attribute, const std::string& text) {
  if (object.attrExists(attribute)) object.removeAttr(attribute);
  const H5::StrType type(H5::PredType::C_S1, text.size());
  object.createAttribute(attribute, type, scalar).write(type, text);
}

// A dataset of another kind in place of the channel "south".
inline void replace_channel(H5::H5File& file, const H5::DataType& type, const H5::DataSpace& space,
                            const H5::DSetCreatPropList& properties = H5::DSetCreatPropList::DEFAULT,
                            bool write = true) {
  file.unlink("/channels/south");
  H5::DataSet dataset = file.createDataSet("/channels/south", type, space, properties);
  for (const auto& [name, value] : {std::pair("interval_s", 1e-9), std::pair("first_sample_s", 0.0),
                                    std::pair("volts_per_count", 1.0), std::pair("offset_v", 0.0)}) {
    dataset.createAttribute(name, H5::PredType::NATIVE_DOUBLE, scalar)
        .write(H5::PredType::NATIVE_DOUBLE, &value);
  }
  const hssize_t elements = space.getSimpleExtentNpoints();
  if (!write || elements <= 0 || H5Tdetect_class(type.getId(), H5T_VLEN) > 0) return;
  const std::vector<char> zeros(static_cast<std::size_t>(elements) * type.getSize());
  dataset.write(zeros.data(), type);
}

inline H5::DataSpace shape(std::initializer_list<hsize_t> extents) {
  return {static_cast<int>(extents.size()), std::data(extents)};
}

inline H5::DSetCreatPropList in_chunks(std::initializer_list<hsize_t> chunk, int deflate = 0) {
  H5::DSetCreatPropList properties;
  properties.setChunk(static_cast<int>(chunk.size()), std::data(chunk));
  if (deflate > 0) properties.setDeflate(deflate);
  return properties;
}

inline void write_bytes(const Path& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

inline void patch(const Path& path, std::uint64_t offset, const std::string& bytes) {
  std::fstream stream(path, std::ios::binary | std::ios::in | std::ios::out);
  stream.seekp(static_cast<std::streamoff>(offset));
  stream << bytes;
}

}  // namespace firstedge::test
