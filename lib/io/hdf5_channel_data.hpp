// The samples of one channel of an open HDF5 file, with their scale, as Traces.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/trace.hpp"
#include "firstedge/io/binary_samples.hpp"
#include "firstedge/io/hdf5_array.hpp"
#include "firstedge/io/hdf5_columns.hpp"

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// One channel of an open file.
class Hdf5ChannelData {
 public:
  static constexpr std::uint64_t most_samples = std::uint64_t{1} << 28U;  ///< of one trace

  /// Throws Error for a dataset or a scale that cannot be used.
  Hdf5ChannelData(const Hdf5File& file, const Hdf5Channel& channel, std::shared_ptr<Hdf5Array> array);

  std::uint64_t records() const { return records_; }
  std::uint64_t samples() const { return samples_; }
  std::uint64_t bytes_per_record() const { return samples_ * array_->element_bytes(); }
  /// Records that share chunks.
  std::uint64_t record_step() const;
  std::optional<SampleType> sample_type() const { return sample_type_; }
  const Hdf5Array& array() const { return *array_; }

  struct Stretch {
    std::vector<Trace> traces;  ///< empty where damaged or past the end of this channel
    std::shared_ptr<const void> storage;
    std::vector<Error> problems;
  };
  Stretch read(std::uint64_t first, std::uint64_t count);

 private:
  using Axis = std::optional<std::size_t>;

  void take_axes(const Hdf5Channel& channel);
  void take_type();
  void take_scale(const Hdf5File& file, const Hdf5Channel& channel);
  void refuse_bad_constants() const;
  Hdf5Array::Box box(std::uint64_t first, std::uint64_t count) const;
  DecodedSamples decoded(Hdf5Array::Content content, const Hdf5Array::Box& box, std::uint64_t count) const;
  std::vector<bool> damaged(const Hdf5Array::Content& content, std::uint64_t first,
                            std::uint64_t count) const;
  std::string place(std::uint64_t record) const;

  std::shared_ptr<Hdf5Array> array_;
  Axis record_axis_, channel_axis_, sample_axis_;
  std::optional<std::uint64_t> position_;  // on the channel axis
  std::uint64_t samples_per_record_ = 0;   // of a 1-D dataset of many records, else 0
  std::uint64_t records_ = 1, samples_ = 1;
  NumberType number_type_;
  std::optional<SampleType> sample_type_;  // nothing: 64-bit integers, handed over as double
  std::map<std::string, RecordNumbers> scale_;
};

}  // namespace firstedge
