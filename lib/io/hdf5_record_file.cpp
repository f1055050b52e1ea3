#include "firstedge/io/hdf5_record_file.hpp"

#include "firstedge/io/binary_scale.hpp"

#include <algorithm>
#include <map>
#include <memory>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

// A stretch is about this large, in whole chunks; one chunk may be up to the second size.
constexpr std::uint64_t usual_stretch_bytes = std::uint64_t{8} << 20U;
constexpr std::uint64_t largest_stretch_bytes = std::uint64_t{64} << 20U;

}  // namespace

Hdf5RecordFile::Hdf5RecordFile(const std::filesystem::path& path, const Hdf5Mapping& mapping,
                               const std::vector<std::string>& run_channels, std::size_t position)
    : file_(path) {
  const Hdf5Plan plan = hdf5_plan(file_, mapping, position);
  take_places(plan, run_channels);
  open_channels(plan);
  for (const Hdf5ChannelData& channel : channels_) records_ = std::max(records_, channel.records());
  if (mapping.records) records_ = std::min(records_, *mapping.records);
  if (records_ == 0) throw Error(path.string(), "holds no record", "leave this file out");
  if (bytes_per_record() > most_record_bytes) {
    throw Error(path.string(), fmt::format("one record has {} bytes", bytes_per_record()),
                "at most 1 GiB is read; \"axes\" may be the other way round");
  }
  for (const Hdf5ChannelData& channel : channels_) {
    const Hdf5Array& array = channel.array();
    const std::uint64_t used = std::min(records_, channel.records());
    array.require_stored(array.elements() / std::max<std::uint64_t>(1, channel.records()) * used);
  }
  if (plan.trigger) trigger_.emplace(file_, *plan.trigger);
}

void Hdf5RecordFile::open_channels(const Hdf5Plan& plan) {
  std::map<std::string, std::shared_ptr<Hdf5Array>> arrays;  // one for each dataset, whatever it holds
  for (const Hdf5Channel& channel : plan.channels) {
    std::shared_ptr<Hdf5Array>& array = arrays[channel.dataset];
    if (!array) array = std::make_shared<Hdf5Array>(file_, channel.dataset);
    channels_.emplace_back(file_, channel, array);
  }
}

void Hdf5RecordFile::take_places(const Hdf5Plan& plan, const std::vector<std::string>& run_channels) {
  if (run_channels.empty()) {
    if (plan.channels.size() != 1) {
      throw Error(file_.path().string(),
                  fmt::format("holds {} channels, and the pattern says one a file", plan.channels.size()),
                  "take {channel} out of the pattern, or name one dataset");
    }
    places_ = {0};
    return;
  }
  traces_in_record_ = run_channels.size();
  for (const Hdf5Channel& channel : plan.channels) {
    const auto found = std::find(run_channels.begin(), run_channels.end(), channel.name);
    if (found == run_channels.end()) {
      throw Error(file_.path().string(), fmt::format("holds the channel '{}' of no other file", channel.name),
                  "the file has changed: start again");
    }
    places_.push_back(static_cast<std::size_t>(found - run_channels.begin()));
  }
}

std::uint64_t Hdf5RecordFile::bytes_per_record() const {
  std::uint64_t bytes = 0;
  for (const Hdf5ChannelData& channel : channels_) bytes += channel.bytes_per_record();
  return std::max<std::uint64_t>(bytes, 1);
}

std::uint64_t Hdf5RecordFile::stretch_length() const {
  std::uint64_t step = 1;
  for (const Hdf5ChannelData& channel : channels_) step = std::max(step, channel.record_step());
  const std::uint64_t usual = std::max<std::uint64_t>(1, usual_stretch_bytes / bytes_per_record());
  if (step <= usual) return usual / step * step;
  const std::uint64_t largest = std::max<std::uint64_t>(1, largest_stretch_bytes / bytes_per_record());
  return std::min(step, largest);
}

void Hdf5RecordFile::load_stretch(FileRecords& told) {
  const std::uint64_t count = std::min(stretch_length(), records_ - next_);
  std::vector<FileRecords::One> records(count);
  auto storage = std::make_shared<std::vector<std::shared_ptr<const void>>>();
  for (FileRecords::One& one : records) one.traces.resize(traces_in_record_);
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    Hdf5ChannelData::Stretch stretch = channels_[i].read(next_, count);
    for (std::size_t k = 0; k < count; ++k) records[k].traces[places_[i]] = stretch.traces[k];
    storage->push_back(std::move(stretch.storage));
    std::move(stretch.problems.begin(), stretch.problems.end(), std::back_inserter(told.problems));
  }
  if (trigger_) {
    Hdf5TriggerData::Stretch stretch = trigger_->read(next_, count);
    for (std::size_t k = 0; k < count; ++k) records[k].trigger = stretch.instants[k];
    if (stretch.problem) told.problems.push_back(*stretch.problem);
  }
  for (FileRecords::One& one : records) {
    const bool is_lost =
        std::all_of(one.traces.begin(), one.traces.end(), [](const Trace& trace) { return trace.empty(); });
    if (is_lost) one.traces.clear();
    one.storage = storage;
    ready_.push_back(std::move(one));
  }
  next_ += count;
}

FileRecords Hdf5RecordFile::next(std::size_t most) {
  FileRecords taken;
  if (ready_.empty() && next_ < records_) load_stretch(taken);
  while (!ready_.empty() && taken.records.size() < most) {
    taken.records.push_back(std::move(ready_.front()));
    ready_.pop_front();
  }
  return taken;
}

std::uint64_t Hdf5RecordFile::skip(std::uint64_t most) {
  const std::uint64_t held = std::min<std::uint64_t>(most, ready_.size());
  ready_.erase(ready_.begin(), ready_.begin() + static_cast<std::ptrdiff_t>(held));
  const std::uint64_t unread = std::min(most - held, records_ - next_);
  next_ += unread;
  return held + unread;
}

std::vector<std::string> hdf5_scale_guesses(const Hdf5Scale& scale, SampleType type) {
  Settings given;
  for (const auto& [name, number] : scale) given.set(name, 0.0);
  return scale_guesses(given, type);
}

}  // namespace firstedge
