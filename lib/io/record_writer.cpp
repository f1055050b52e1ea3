#include "firstedge/io/record_writer.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/hdf5_output.hpp"
#include "firstedge/io/part_file.hpp"
#include "firstedge/io/record_layout.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <set>
#include <type_traits>

#include <fmt/format.h>

namespace firstedge {
namespace {

namespace names = record_layout;

// Half of HDF5's usual chunk cache, so that a reader of any program gets along with it.
constexpr std::uint64_t chunk_bytes = 1U << 19U;
constexpr std::uint64_t most_rows_in_chunk = 1024;
constexpr std::uint64_t times_in_chunk = 4096;
constexpr std::size_t longest_name = 200;

H5::DataType element_type(const Counts& counts) {
  return std::visit(
      [](const auto& samples) -> H5::DataType {
        using Sample = typename std::decay_t<decltype(samples)>::value_type;
        if constexpr (std::is_same_v<Sample, std::int8_t>) return H5::PredType::NATIVE_INT8;
        if constexpr (std::is_same_v<Sample, std::int16_t>) return H5::PredType::NATIVE_INT16;
        if constexpr (std::is_same_v<Sample, std::int32_t>) return H5::PredType::NATIVE_INT32;
        if constexpr (std::is_same_v<Sample, std::uint8_t>) return H5::PredType::NATIVE_UINT8;
        if constexpr (std::is_same_v<Sample, std::uint16_t>) return H5::PredType::NATIVE_UINT16;
        if constexpr (std::is_same_v<Sample, float>) return H5::PredType::NATIVE_FLOAT;
        if constexpr (std::is_same_v<Sample, double>) return H5::PredType::NATIVE_DOUBLE;
      },
      counts);
}

std::span<const std::byte> bytes_of_counts(const Trace& trace) {
  return std::visit([](const auto& samples) { return std::as_bytes(samples); }, trace.counts);
}

std::string fault_of_name(const std::string& name) {
  if (name.empty() || name == "." || name == "..") return "is no name";
  if (name.size() > longest_name) return "is too long";
  const auto forbidden = [](char c) { return c == '/' || static_cast<unsigned char>(c) < 0x20 || c == 0x7f; };
  if (std::any_of(name.begin(), name.end(), forbidden)) return "holds '/' or a control character";
  return "";
}

// What the first record fixes.
bool same_shape(const Trace& a, const Trace& b) {
  return a.counts.index() == b.counts.index() && a.size() == b.size() && a.interval_s == b.interval_s &&
         a.volts_per_count == b.volts_per_count && a.offset_v == b.offset_v &&
         a.lowest_count == b.lowest_count && a.highest_count == b.highest_count;
}

std::string fault_of_scale(const Trace& trace) {
  if (trace.empty()) return "has no samples";
  if (!(trace.interval_s > 0) || !std::isfinite(trace.interval_s)) return "has no positive interval";
  if (!std::isfinite(trace.volts_per_count) || !std::isfinite(trace.offset_v)) return "has no finite scale";
  if (std::isnan(trace.lowest_count) || std::isnan(trace.highest_count)) return "has limits that are NaN";
  return "";
}

// The times of the first samples of one channel: an attribute as long as they are all the same, and a dataset
// from the first that differs. Then the attribute is 0 and the dataset holds the whole time, so that their
// sum is exact.
class FirstSampleTimes {
 public:
  void append(double time_s, const H5::Group& root, const std::string& channel, H5::DataSet& counts) {
    if (records_ == 0) {
      common_s_ = time_s;
      write_attribute(counts, names::first_sample, time_s);
    }
    if (!rows_ && std::signbit(time_s) == std::signbit(common_s_) && time_s == common_s_) {
      ++records_;
      return;
    }
    if (!rows_) start_dataset(root, channel, counts);
    rows_->append(bytes_of(time_s));
    ++records_;
  }
  void flush() {
    if (rows_) rows_->flush();
  }

 private:
  void start_dataset(const H5::Group& root, const std::string& channel, H5::DataSet& counts) {
    write_attribute(counts, names::first_sample, 0.0);
    const H5::Group group = root.exists(names::horizontal_offsets)
                                ? root.openGroup(names::horizontal_offsets)
                                : create_group(root, names::horizontal_offsets);
    rows_.emplace(group, channel,
                  Hdf5RowsLayout{.element = H5::PredType::NATIVE_DOUBLE, .rows_in_chunk = times_in_chunk});
    for (std::uint64_t i = 0; i < records_; ++i) rows_->append(bytes_of(common_s_));
  }

  double common_s_ = 0;
  std::uint64_t records_ = 0;
  std::optional<Hdf5Rows> rows_;
};

// The trigger Instants, from the first record that has one.
class Triggers {
 public:
  void append(const std::optional<Instant>& trigger, const H5::Group& root) {
    if (trigger && !seconds_) start_datasets(root);
    if (seconds_) append_row(trigger);
    ++records_;
  }
  void flush() {
    if (!seconds_) return;
    seconds_->flush();
    femtoseconds_->flush();
    scale_->flush();
  }

 private:
  void start_datasets(const H5::Group& root) {
    const H5::Group group = create_group(root, names::triggers);
    const auto layout = [](const H5::PredType& type) {
      return Hdf5RowsLayout{.element = type, .rows_in_chunk = times_in_chunk};
    };
    seconds_.emplace(group, names::seconds, layout(H5::PredType::NATIVE_INT64));
    femtoseconds_.emplace(group, names::femtoseconds, layout(H5::PredType::NATIVE_INT64));
    scale_.emplace(group, names::scale, layout(H5::PredType::NATIVE_UINT8));
    for (std::uint64_t i = 0; i < records_; ++i) append_row(std::nullopt);
  }
  void append_row(const std::optional<Instant>& trigger) {
    const Instant instant = trigger.value_or(Instant{});
    const std::uint8_t scale = trigger ? static_cast<std::uint8_t>(instant.scale) : names::no_trigger;
    seconds_->append(bytes_of(instant.seconds));
    femtoseconds_->append(bytes_of(instant.femtoseconds));
    scale_->append(bytes_of(scale));
  }

  std::uint64_t records_ = 0;
  std::optional<Hdf5Rows> seconds_, femtoseconds_, scale_;
};

}  // namespace

class RecordWriter::Sink {
 public:
  Sink(const std::filesystem::path& file, RecordWriterOptions options)
      : options_(std::move(options)), place_(file.string()) {
    refuse_bad_options();
    part_.emplace(file);
    run([&] { root_.emplace(create_hdf5(part_->part())); });
  }
  ~Sink() {
    const Hdf5Guard guard;
    if (root_) abandon_hdf5(*root_);
    close();
  }
  Sink(const Sink&) = delete;
  Sink& operator=(const Sink&) = delete;

  void write(const Record& record) {
    refuse_bad_record(record);
    run([&] {
      if (records_ == 0) start(record);
      for (std::size_t i = 0; i < channels_.size(); ++i) {
        Channel& channel = channels_[i];
        const Trace& trace = record.traces[i];
        channel.rows->append(bytes_of_counts(trace));
        channel.times.append(trace.first_sample_s, *root_, options_.channels[i], channel.rows->dataset());
      }
      triggers_->append(record.trigger, *root_);
    });
    ++records_;
  }

  void finish() {
    if (records_ == 0) throw Error(place_, "no record was written", "write at least one");
    if (options_.contiguous_records && records_ != *options_.contiguous_records) {
      throw Error(place_, fmt::format("{} records were written", records_),
                  fmt::format("contiguous_records promised {}", *options_.contiguous_records));
    }
    run([&] {
      for (Channel& channel : channels_) {
        channel.rows->flush();
        channel.times.flush();
      }
      triggers_->flush();
      root_->flush(H5F_SCOPE_GLOBAL);  // while everything is open, so that a full disk can be told
      close();
    });
    part_->commit();
  }

 private:
  struct Channel {
    Trace shape;  // of the first record; its counts are not used
    std::optional<Hdf5Rows> rows;
    FirstSampleTimes times;
  };

  // After a failure inside HDF5 the file cannot be made whole any more.
  template <class Call>
  void run(Call&& call) {
    const std::string problem = "cannot be written", remedy = "check the disk's free space and permissions";
    if (broken_) throw Error(place_, problem, remedy);
    broken_ = true;
    guarded(place_, problem, remedy, call);
    broken_ = false;
  }

  void close() {
    channels_.clear();
    triggers_.reset();
    root_.reset();
  }

  void refuse_bad_options() const {
    if (options_.channels.empty()) throw Error(place_, "no channels to write", "name at least one");
    std::set<std::string> seen;
    for (const std::string& name : options_.channels) {
      const std::string fault = seen.insert(name).second ? fault_of_name(name) : "stands twice";
      if (!fault.empty()) {
        throw Error(place_, fmt::format("the channel name '{}' {}", name, fault),
                    "give each channel a name of its own, short and without '/'");
      }
    }
    if (options_.deflate_level < 0 || options_.deflate_level > 9) {
      throw Error(place_, fmt::format("the deflate level is {}", options_.deflate_level), "give 0 to 9");
    }
    if (options_.attributes.contains(names::layout)) {
      throw Error(place_, "the attribute 'layout' is the file's own", "choose another name");
    }
  }

  void refuse_bad_record(const Record& record) const {
    const std::string place = fmt::format("{}, record {}", place_, records_);
    if (record.traces.size() != options_.channels.size()) {
      throw Error(
          place, fmt::format("has {} traces for {} channels", record.traces.size(), options_.channels.size()),
          "give one a channel");
    }
    if (options_.contiguous_records && records_ >= *options_.contiguous_records) {
      throw Error(place, fmt::format("is more than the {} promised", *options_.contiguous_records),
                  "raise contiguous_records or leave it out");
    }
    for (std::size_t i = 0; i < record.traces.size(); ++i) {
      const Trace& trace = record.traces[i];
      const std::string channel_place = fmt::format("{}, channel '{}'", place, options_.channels[i]);
      const std::string fault = fault_of_scale(trace);
      if (!fault.empty()) throw Error(channel_place, "the trace " + fault, "leave this record out");
      if (!std::isfinite(trace.first_sample_s)) {
        throw Error(channel_place, "the time of the first sample is not finite", "leave this record out");
      }
      if (records_ > 0 && !same_shape(trace, channels_[i].shape)) {
        throw Error(channel_place, "differs from the first record in type, size, interval, scale or limits",
                    "write such records into a file of their own");
      }
    }
  }

  void start(const Record& record) {
    write_attribute(*root_, names::layout, std::string(names::name));
    for (const auto& [name, text] : options_.attributes) write_attribute(*root_, name, text);
    H5::Group group = create_group(*root_, names::channels);
    write_attribute(group, names::order, options_.channels);
    for (std::size_t i = 0; i < record.traces.size(); ++i) {
      const Trace& trace = record.traces[i];
      Channel& channel = channels_.emplace_back();
      channel.shape = trace;
      channel.rows.emplace(group, options_.channels[i], rows_layout(trace));
      H5::DataSet& dataset = channel.rows->dataset();
      write_attribute(dataset, names::interval, trace.interval_s);
      write_attribute(dataset, names::volts_per_count, trace.volts_per_count);
      write_attribute(dataset, names::offset, trace.offset_v);
      write_attribute(dataset, names::lowest_count, trace.lowest_count);
      write_attribute(dataset, names::highest_count, trace.highest_count);
    }
  }

  Hdf5RowsLayout rows_layout(const Trace& trace) const {
    const H5::DataType element = element_type(trace.counts);
    const std::uint64_t size = trace.size();
    const std::uint64_t in_chunk = std::min<std::uint64_t>(size, chunk_bytes / element.getSize());
    const std::uint64_t rows = chunk_bytes / (in_chunk * element.getSize());
    return {.element = element,
            .elements_in_row = size,
            .rows_in_chunk = std::min(rows, most_rows_in_chunk),
            .elements_in_chunk = in_chunk,
            .deflate_level = options_.deflate_level,
            .contiguous_rows = options_.contiguous_records};
  }

  RecordWriterOptions options_;
  std::string place_;
  std::optional<PartFile> part_;
  std::optional<H5::H5File> root_;
  std::deque<Channel> channels_;
  std::optional<Triggers> triggers_{std::in_place};
  std::uint64_t records_ = 0;
  bool broken_ = false;
};

RecordWriter::RecordWriter(const std::filesystem::path& file, const RecordWriterOptions& options)
    : sink_(std::make_unique<Sink>(file, options)) {}

RecordWriter::~RecordWriter() = default;

void RecordWriter::write(std::span<const Record> records) {
  for (const Record& record : records) sink_->write(record);
}

void RecordWriter::finish() {
  sink_->finish();
}

}  // namespace firstedge
