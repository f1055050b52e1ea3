// Where the records of one HDF5 file are: by our own layout, by the Setup's mapping, or by a guess that is
// told.
#pragma once

#include "firstedge/io/hdf5_input.hpp"
#include "firstedge/io/hdf5_mapping.hpp"

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

struct Hdf5Plan {
  std::vector<Hdf5Channel> channels;  ///< with names of their own and datasets
  std::optional<Hdf5Trigger> trigger;
  std::vector<std::string> guesses;
  std::map<std::string, std::string> metadata;  ///< attributes of the root: texts of fixed length and numbers
};

/// A mapping that names datasets is followed; else the file may be in our own layout ("channels" then chooses
/// among its channels, and a scale in the Setup stands over the file's); else it is guessed: one numeric
/// dataset of two or three dimensions (records x samples, records x channels x samples), or several of two in
/// one group with the same shape, one a channel. An interval that is not given is looked for under usual
/// names of attributes. Throws Error, listing the datasets found, where there is no clear guess.
///
/// first_index: of the file's first channel in the run, where files hold one channel each.
Hdf5Plan hdf5_plan(const Hdf5File& file, const Hdf5Mapping& mapping, std::size_t first_index);

}  // namespace firstedge
