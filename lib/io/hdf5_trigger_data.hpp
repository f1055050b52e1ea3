// The trigger Instants of an open HDF5 file, one a record.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/io/hdf5_columns.hpp"

#include <cstdint>
#include <optional>
#include <vector>

namespace firstedge {

/// The trigger Instants of an open file.
class Hdf5TriggerData {
 public:
  Hdf5TriggerData(const Hdf5File& file, const Hdf5Trigger& trigger);

  /// For the records [first, first + count); nothing for a record without one. `problem` is the first that
  /// is not an Instant of the years 1 to 9999.
  struct Stretch {
    std::vector<std::optional<Instant>> instants;
    std::optional<Error> problem;
  };
  Stretch read(std::uint64_t first, std::uint64_t count);

 private:
  std::optional<Instant> instant(const Hdf5Column::Parts& coarse, const Hdf5Column::Parts& fine,
                                 TimeScale scale) const;

  Hdf5Trigger trigger_;
  Hdf5Column coarse_;
  std::optional<Hdf5Column> fine_, scale_;
};

}  // namespace firstedge
