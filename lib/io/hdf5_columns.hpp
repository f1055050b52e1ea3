// Numbers that stand in an HDF5 file one a record: scales, offsets, trigger times.
#pragma once

#include "firstedge/io/hdf5_array.hpp"
#include "firstedge/io/hdf5_mapping.hpp"
#include "firstedge/io/hdf5_numbers.hpp"

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// A 1-D dataset of plain numbers, read by stretches.
class Hdf5Column {
 public:
  /// Throws Error if the dataset is not one.
  Hdf5Column(const Hdf5File& file, const std::string& path);

  std::uint64_t size() const { return array_.elements(); }
  const std::string& place() const { return array_.place(); }

  /// The numbers [first, first + count); NaN beyond the end and where damaged.
  std::vector<double> numbers(std::uint64_t first, std::uint64_t count);

  /// The same without loss: the whole part, and the rest in [0, 1) of floating-point numbers.
  struct Parts {
    std::int64_t whole = 0;
    double rest = 0;
  };
  std::vector<std::optional<Parts>> parts(std::uint64_t first, std::uint64_t count);

 private:
  struct Stretch {
    std::vector<std::byte> bytes;  ///< in native order, of what there is
    std::vector<bool> good;        ///< one a number
  };
  Stretch read(std::uint64_t first, std::uint64_t count);

  Hdf5Array array_;
  NumberType type_;
};

/// A number of a channel's scale, as the file or the Setup gives it: one for all records, or one a record.
class RecordNumbers {
 public:
  explicit RecordNumbers(double constant) : constant_(constant) {}
  /// Throws Error if it is not where `number` says.
  RecordNumbers(const Hdf5File& file, const Hdf5Number& number, const Hdf5Channel& channel);

  std::optional<double> constant() const { return column_ ? std::nullopt : std::optional(constant_); }

  /// For the records [first, first + count); NaN where the file has none.
  std::vector<double> read(std::uint64_t first, std::uint64_t count);

 private:
  double constant_ = 0;
  double times_ = 1;
  std::shared_ptr<Hdf5Column> column_;
};

}  // namespace firstedge
