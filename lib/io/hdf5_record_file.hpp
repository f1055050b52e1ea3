// The records of one HDF5 file, taken in order by stretches that follow its chunks.
#pragma once

#include "firstedge/io/file_run.hpp"
#include "firstedge/io/hdf5_channel_data.hpp"
#include "firstedge/io/hdf5_plan.hpp"
#include "firstedge/io/hdf5_trigger_data.hpp"

#include <cstdint>
#include <deque>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// An open file whose channels are put into their places in the run.
class Hdf5RecordFile {
 public:
  /// run_channels: names in the run's order; empty if the run has one file a channel, and then the file must
  /// hold one, which stands at `position`. Throws Error for a file that cannot be used.
  Hdf5RecordFile(const std::filesystem::path& path, const Hdf5Mapping& mapping,
                 const std::vector<std::string>& run_channels, std::size_t position);

  std::uint64_t records() const { return records_; }
  FileRecords next(std::size_t most);
  /// Passes over records unread, at most so many, and gives their number.
  std::uint64_t skip(std::uint64_t most);

 private:
  void open_channels(const Hdf5Plan& plan);
  void take_places(const Hdf5Plan& plan, const std::vector<std::string>& run_channels);
  std::uint64_t bytes_per_record() const;
  std::uint64_t stretch_length() const;
  void load_stretch(FileRecords& told);

  Hdf5File file_;
  std::vector<Hdf5ChannelData> channels_;
  std::vector<std::size_t> places_;  // of channels_ in a record's traces
  std::size_t traces_in_record_ = 1;
  std::optional<Hdf5TriggerData> trigger_;
  std::uint64_t records_ = 0;
  std::uint64_t next_ = 0;  // first record of the next stretch
  std::deque<FileRecords::One> ready_;
};

/// What is to be told of samples of this type under this scale: io/binary_scale.hpp's guesses.
std::vector<std::string> hdf5_scale_guesses(const Hdf5Scale& scale, SampleType type);

}  // namespace firstedge
