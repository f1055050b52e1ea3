#include "firstedge/io/hdf5_channel_data.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

using Kind = NumberType::Kind;

// Every whole number below this is a double.
constexpr double exact_below = 0x1p53;

std::optional<SampleType> sample_type_of_number(const NumberType& type) {
  if (type.kind == Kind::real) return type.bytes == 4 ? SampleType::float32 : SampleType::float64;
  const bool is_signed = type.kind == Kind::signed_integer;
  if (type.bytes == 1) return is_signed ? SampleType::int8 : SampleType::uint8;
  if (type.bytes == 2) return is_signed ? SampleType::int16 : SampleType::uint16;
  if (type.bytes == 4) return is_signed ? SampleType::int32 : SampleType::uint32;
  return std::nullopt;
}

std::size_t axis_position(const std::vector<std::string>& axes, const std::string& axis) {
  return static_cast<std::size_t>(std::find(axes.begin(), axes.end(), axis) - axes.begin());
}

// What is wrong with the scale of a record, "" if nothing.
std::string fault_of_scale(const Trace& trace) {
  if (!std::isfinite(trace.interval_s) || !(trace.interval_s > 0)) return "the interval is not above 0";
  if (!std::isfinite(trace.first_sample_s)) return "the time of the first sample is not finite";
  if (!std::isfinite(trace.volts_per_count) || trace.volts_per_count == 0)
    return "volts_per_count is 0 or not finite";
  if (!std::isfinite(trace.offset_v)) return "the offset is not finite";
  if (!(trace.lowest_count < trace.highest_count)) return "lowest_count is not below highest_count";
  return "";
}

bool all_exact(const Counts& counts) {
  const auto& samples = std::get<std::span<const double>>(counts);
  return std::all_of(samples.begin(), samples.end(),
                     [](double count) { return std::abs(count) < exact_below; });
}

Counts first_of(const Counts& counts, std::size_t samples) {
  return std::visit([&](const auto& all) -> Counts { return all.first(samples); }, counts);
}

}  // namespace

Hdf5ChannelData::Hdf5ChannelData(const Hdf5File& file, const Hdf5Channel& channel,
                                 std::shared_ptr<Hdf5Array> array)
    : array_(std::move(array)), position_(channel.position), samples_per_record_(channel.samples_per_record) {
  take_type();
  take_axes(channel);
  take_scale(file, channel);
  refuse_bad_constants();
}

void Hdf5ChannelData::take_type() {
  guarded(array_->place(), "cannot be opened", "the file is damaged", [&] {
    const std::optional<NumberType> type = number_type(array_->type());
    if (!type) {
      throw Error(array_->place(), fmt::format("holds {}, not samples", name_of_type(array_->type())),
                  "samples are integers of 8 to 64 bits or floating-point numbers of 32 or 64");
    }
    number_type_ = *type;
  });
  sample_type_ = sample_type_of_number(number_type_);
}

void Hdf5ChannelData::take_axes(const Hdf5Channel& channel) {
  const std::vector<std::uint64_t>& shape = array_->shape();
  std::vector<std::string> axes = channel.axes;
  if (axes.empty() && shape.size() == 1) axes = {"sample"};
  if (axes.empty() && shape.size() == 2) axes = {"record", "sample"};
  if (axes.empty() && shape.size() == 3) axes = {"record", "channel", "sample"};
  if (axes.size() != shape.size()) {
    throw Error(array_->place(), fmt::format("has {} dimensions ({})", shape.size(), fmt::join(shape, " x ")),
                fmt::format("its axes should be {}; \"axes\" in the input group tells others",
                            fmt::join(axes, ", ")));
  }
  const auto take = [&](const char* axis) -> Axis {
    const std::size_t at = axis_position(axes, axis);
    return at < axes.size() ? Axis(at) : std::nullopt;
  };
  record_axis_ = take("record");
  channel_axis_ = take("channel");
  sample_axis_ = take("sample");
  samples_ = shape[*sample_axis_];
  records_ = record_axis_ ? shape[*record_axis_] : 1;
  if (samples_per_record_ != 0) {
    if (shape.size() != 1) {
      throw Error(array_->place(), fmt::format("has {} dimensions and samples_per_record", shape.size()),
                  "that setting cuts datasets of one dimension");
    }
    records_ = samples_ / samples_per_record_;
    samples_ = samples_per_record_;
  }
  if (channel_axis_ && (!position_ || *position_ >= shape[*channel_axis_])) {
    throw Error(array_->place(), fmt::format("has {} channels in each record", shape[*channel_axis_]),
                "say with \"channel\" which one is meant; they count from 0");
  }
  if (samples_ == 0) throw Error(array_->place(), "has no samples", "leave this channel out");
  if (samples_ > most_samples) {
    throw Error(array_->place(), fmt::format("has {} samples in a record", samples_),
                "at most 2^28 are read; \"axes\" may be the other way round");
  }
}

void Hdf5ChannelData::take_scale(const Hdf5File& file, const Hdf5Channel& channel) {
  for (const auto& [name, number] : channel.scale) scale_.emplace(name, RecordNumbers(file, number, channel));
  if (!scale_.contains(scale_names::interval) && !scale_.contains(scale_names::sample_rate)) {
    throw Error(array_->place(), "the time between samples is not known",
                R"(say it in the input group, like "interval": "0.2 ns")");
  }
  const auto usual = [&](const char* name, double value) { scale_.emplace(name, RecordNumbers(value)); };
  constexpr double infinity = std::numeric_limits<double>::infinity();
  usual(scale_names::first_sample, 0);
  usual(scale_names::horizontal_offset, 0);
  usual(scale_names::volts_per_count, 1);
  usual(scale_names::offset, 0);
  usual(scale_names::lowest_count, sample_type_ ? least_of(*sample_type_) : -infinity);
  usual(scale_names::highest_count, sample_type_ ? greatest_of(*sample_type_) : infinity);
}

// A scale that is wrong for all records is told once, when the file is opened.
void Hdf5ChannelData::refuse_bad_constants() const {
  const auto constant = [&](const char* name, double otherwise) {
    const auto found = scale_.find(name);
    return found == scale_.end() ? otherwise : found->second.constant().value_or(otherwise);
  };
  Trace trace;
  trace.interval_s = constant(scale_names::interval, 1 / constant(scale_names::sample_rate, 1));
  trace.first_sample_s = constant(scale_names::first_sample, 0) + constant(scale_names::horizontal_offset, 0);
  trace.volts_per_count = constant(scale_names::volts_per_count, 1);
  trace.offset_v = constant(scale_names::offset, 0);
  trace.lowest_count = constant(scale_names::lowest_count, trace.lowest_count);
  trace.highest_count = constant(scale_names::highest_count, trace.highest_count);
  const std::string fault = fault_of_scale(trace);
  if (!fault.empty()) throw Error(array_->place(), fault, "correct it, or say it in the Setup's input group");
}

std::uint64_t Hdf5ChannelData::record_step() const {
  if (samples_per_record_ != 0) return std::max<std::uint64_t>(1, array_->step(0) / samples_per_record_);
  return record_axis_ ? array_->step(*record_axis_) : 1;
}

std::string Hdf5ChannelData::place(std::uint64_t record) const {
  return fmt::format("{}, record {}", array_->place(), record);
}

Hdf5Array::Box Hdf5ChannelData::box(std::uint64_t first, std::uint64_t count) const {
  if (samples_per_record_ != 0) return {{first * samples_}, {count * samples_}};
  Hdf5Array::Box box{std::vector<std::uint64_t>(array_->shape().size(), 0), array_->shape()};
  if (record_axis_) {
    box.start[*record_axis_] = first;
    box.count[*record_axis_] = count;
  }
  if (channel_axis_) {
    box.start[*channel_axis_] = *position_;
    box.count[*channel_axis_] = 1;
  }
  return box;
}

DecodedSamples Hdf5ChannelData::decoded(Hdf5Array::Content content, const Hdf5Array::Box& box,
                                        std::uint64_t count) const {
  SampleCoding coding{sample_type_.value_or(SampleType::float64), number_type_.big_endian};
  std::vector<std::byte> bytes = std::move(content.bytes);
  if (!sample_type_) {
    to_native_order(bytes, number_type_);
    const std::vector<double> numbers = as_doubles(bytes, number_type_);
    std::memcpy(bytes.data(), numbers.data(), bytes.size());
    coding.big_endian = std::endian::native == std::endian::big;
  }
  const auto stride = [&](const Axis& axis) {
    std::size_t elements = 1;
    for (std::size_t later = *axis + 1; later < box.count.size(); ++later) elements *= box.count[later];
    return elements * array_->element_bytes();
  };
  SampleGrid grid{.records = count, .channels = 1, .samples = samples_};
  grid.sample_stride = stride(sample_axis_);
  grid.record_stride = record_axis_ ? stride(record_axis_) : samples_ * array_->element_bytes();
  return decode_samples(std::move(bytes), coding, grid);
}

std::vector<bool> Hdf5ChannelData::damaged(const Hdf5Array::Content& content, std::uint64_t first,
                                           std::uint64_t count) const {
  std::vector<bool> is_damaged(count, false);
  for (const Hdf5Array::Damage& damage : content.damage) {
    std::uint64_t from = 0, to = count;
    if (samples_per_record_ != 0) {
      from = damage.box.start[0] / samples_ - first;
      to = (damage.box.start[0] + damage.box.count[0] - 1) / samples_ + 1 - first;
    } else if (record_axis_) {
      from = damage.box.start[*record_axis_] - first;
      to = from + damage.box.count[*record_axis_];
    }
    std::fill(is_damaged.begin() + static_cast<std::ptrdiff_t>(from),
              is_damaged.begin() + static_cast<std::ptrdiff_t>(to), true);
  }
  return is_damaged;
}

Hdf5ChannelData::Stretch Hdf5ChannelData::read(std::uint64_t first, std::uint64_t asked) {
  Stretch stretch;
  stretch.traces.resize(asked);
  const std::uint64_t count = first < records_ ? std::min(asked, records_ - first) : 0;
  if (count == 0) return stretch;

  const Hdf5Array::Box where = box(first, count);
  Hdf5Array::Content content = array_->read(where);
  const std::vector<bool> is_damaged = damaged(content, first, count);
  for (const Hdf5Array::Damage& damage : content.damage) {
    stretch.problems.emplace_back(place(record_axis_ ? damage.box.start[*record_axis_] : first),
                                  "a block of samples " + damage.problem,
                                  "the records in it are left out of this channel");
  }
  DecodedSamples samples = decoded(std::move(content), where, count);
  stretch.storage = samples.storage;

  std::map<std::string, std::vector<double>> numbers;
  for (auto& [name, source] : scale_) numbers.emplace(name, source.read(first, count));
  const auto number = [&](const char* name, std::size_t i) { return numbers.at(name)[i]; };
  const bool has_interval = numbers.contains(scale_names::interval);
  const bool has_valid = numbers.contains(scale_names::valid_samples);
  std::string told;
  for (std::size_t i = 0; i < count; ++i) {
    if (is_damaged[i]) continue;
    Trace trace;
    trace.counts = samples.rows[i];
    trace.interval_s =
        has_interval ? number(scale_names::interval, i) : 1 / number(scale_names::sample_rate, i);
    trace.first_sample_s = number(scale_names::first_sample, i) + number(scale_names::horizontal_offset, i);
    trace.volts_per_count = number(scale_names::volts_per_count, i);
    trace.offset_v = number(scale_names::offset, i);
    trace.lowest_count = number(scale_names::lowest_count, i);
    trace.highest_count = number(scale_names::highest_count, i);
    std::string fault = fault_of_scale(trace);
    if (has_valid) {
      const double valid = number(scale_names::valid_samples, i);
      if (valid >= 0 && valid <= static_cast<double>(samples_) && valid == std::floor(valid)) {
        trace.counts = first_of(trace.counts, static_cast<std::size_t>(valid));
      } else {
        fault = "valid_samples is no count up to the size of the record";
      }
    }
    if (!sample_type_ && !all_exact(trace.counts)) fault = "a count is beyond 2^53 and would be rounded";
    if (fault.empty()) {
      stretch.traces[i] = trace;
    } else if (fault != told) {
      stretch.problems.emplace_back(place(first + i), fault, "such records are left out of this channel");
      told = fault;
    }
  }
  return stretch;
}

}  // namespace firstedge
