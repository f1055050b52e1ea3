// The stamp table as CSV, layout "firstedge stamp table 1". For lib/io/stamp_table.cpp.
#pragma once

#include "firstedge/io/stamp_table.hpp"

#include <memory>

namespace firstedge {

class CsvStampWriter {
 public:
  CsvStampWriter(const std::filesystem::path& file, const StampTableHead& head);
  ~CsvStampWriter();
  CsvStampWriter(const CsvStampWriter&) = delete;
  CsvStampWriter& operator=(const CsvStampWriter&) = delete;

  void write_stamps(std::span<const Stamp> stamps);
  /// After all stamps: the triggers are '#' lines at the end.
  void write_triggers(std::span<const TriggerRow> triggers);
  void complete(const Provenance& provenance);
  void finish();

 private:
  class Sink;
  std::unique_ptr<Sink> sink_;
};

class CsvStampReader {
 public:
  explicit CsvStampReader(const std::filesystem::path& file);
  ~CsvStampReader();
  CsvStampReader(const CsvStampReader&) = delete;
  CsvStampReader& operator=(const CsvStampReader&) = delete;

  const StampTableHead& head() const;
  std::uint64_t size() const;
  std::vector<Stamp> next_block(std::size_t max_stamps);
  std::vector<TriggerRow> triggers();

 private:
  class Source;
  std::unique_ptr<Source> source_;
};

}  // namespace firstedge
