// The stamp table as an HDF5 file, layout "firstedge stamp table 1". For lib/io/stamp_table.cpp.
#pragma once

#include "firstedge/io/stamp_table.hpp"

#include <memory>

namespace firstedge {

class Hdf5StampWriter {
 public:
  Hdf5StampWriter(const std::filesystem::path& file, const StampTableHead& head);
  ~Hdf5StampWriter();
  Hdf5StampWriter(const Hdf5StampWriter&) = delete;
  Hdf5StampWriter& operator=(const Hdf5StampWriter&) = delete;

  void write_stamps(std::span<const Stamp> stamps);
  /// After all stamps, so that the order of blocks in the file is always the same.
  void write_triggers(std::span<const TriggerRow> triggers);
  void complete(const Provenance& provenance);
  void finish();

 private:
  class Sink;
  std::unique_ptr<Sink> sink_;
};

class Hdf5StampReader {
 public:
  explicit Hdf5StampReader(const std::filesystem::path& file);
  ~Hdf5StampReader();
  Hdf5StampReader(const Hdf5StampReader&) = delete;
  Hdf5StampReader& operator=(const Hdf5StampReader&) = delete;

  const StampTableHead& head() const;
  std::uint64_t size() const;
  std::vector<Stamp> next_block(std::size_t max_stamps);
  std::vector<TriggerRow> triggers();

 private:
  class Source;
  std::unique_ptr<Source> source_;
};

}  // namespace firstedge
