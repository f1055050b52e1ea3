// HDF5 files of the tests' own making, and a whole run read from such files.
#pragma once

#include "firstedge/io/hdf5_reader.hpp"

#include <cstddef>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include <H5Cpp.h>

namespace firstedge::test {

/// A new file and what tests put into it.
class Maker {
 public:
  explicit Maker(const std::filesystem::path& path) : file_(path.string(), H5F_ACC_TRUNC) {}

  H5::H5File& file() { return file_; }
  H5::DataSet dataset(const std::string& name, const H5::DataType& type, const std::vector<hsize_t>& shape,
                      const void* native, const H5::DataType& native_type,
                      const H5::DSetCreatPropList& properties = H5::DSetCreatPropList::DEFAULT) {
    const H5::DataSpace space(static_cast<int>(shape.size()), shape.data());
    H5::DataSet made = file_.createDataSet(name, type, space, properties);
    if (native != nullptr) made.write(native, native_type);
    return made;
  }
  void number(H5::H5Object& object, const std::string& name, double value) {
    object.createAttribute(name, H5::PredType::IEEE_F64LE, H5::DataSpace(H5S_SCALAR))
        .write(H5::PredType::NATIVE_DOUBLE, &value);
  }

 private:
  H5::H5File file_;
};

/// All records of a run, with the memory they look into.
struct WholeRun {
  RunDescription description;
  std::vector<Record> records;
  std::vector<RecordBlock> blocks;
  ReadingAccount account;
};

inline WholeRun read_run(const std::vector<std::filesystem::path>& files, const Settings& input = {},
                         std::size_t block_size = 1000) {
  WholeRun run;
  const auto reader = open_hdf5(files, input);
  run.description = reader->description();
  while (true) {
    RecordBlock block = reader->next_block(block_size);
    if (block.records.empty()) break;
    if (block.records.size() > block_size) throw std::logic_error("more records than were asked for");
    run.records.insert(run.records.end(), block.records.begin(), block.records.end());
    run.blocks.push_back(std::move(block));
  }
  run.account = reader->account();
  return run;
}

}  // namespace firstedge::test
