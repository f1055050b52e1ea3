#include "firstedge/io/npy_reader.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/binary_samples.hpp"
#include "firstedge/io/binary_scale.hpp"
#include "firstedge/io/file_run.hpp"
#include "firstedge/io/npy_header.hpp"

#include <algorithm>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

using Axes = std::vector<std::string>;

// Where the records of one array stand. In the file the array is `outer` runs; a run holds, for each record
// in turn, a piece of inner_bytes. (C order, records first: one run. Fortran order: one run for each sample.)
struct ArrayPlan {
  SampleCoding coding;
  std::uint64_t data_offset = 0;
  std::uint64_t records = 1;        // declared
  std::uint64_t whole_records = 1;  // that the file holds
  std::size_t channels = 1, samples = 1;
  std::size_t outer = 1, inner_bytes = 1;
  Axes file_axes;  // slowest first
  std::uint64_t bytes_after = 0;

  std::size_t size_of(const std::string& axis, std::size_t records_taken) const {
    return axis == "record" ? records_taken : axis == "channel" ? channels : samples;
  }
};

Axes usual_axes(std::size_t count, const std::string& place) {
  if (count == 1) return {"sample"};
  if (count == 2) return {"record", "sample"};
  if (count == 3) return {"record", "channel", "sample"};
  throw Error(place, fmt::format("an array of {} axes", count),
              "save records x samples or records x channels x samples");
}

Axes axes_of(const Settings& input) {
  Axes axes = input.texts("axes");
  const std::set<std::string> known{"record", "channel", "sample"};
  const std::set<std::string> distinct(axes.begin(), axes.end());
  const bool fits = distinct.size() == axes.size() && distinct.contains("sample") &&
                    std::includes(known.begin(), known.end(), distinct.begin(), distinct.end());
  if (input.has("axes") && !fits) {
    input.refuse("axes",
                 "is not a list of \"record\", \"channel\" and \"sample\", each once, with \"sample\" in it",
                 R"(write it like ["record", "sample"])");
  }
  return axes;
}

// How many whole records the file holds, or an Error if that is none.
std::uint64_t whole_records(const ArrayPlan& plan, std::uint64_t array_bytes, bool overflow,
                            const ByteSource& source) {
  const std::uint64_t available = source.size() - plan.data_offset;
  if (!overflow && array_bytes <= available) return plan.records;
  const std::uint64_t whole = plan.outer == 1 && plan.records > 1 ? available / plan.inner_bytes : 0;
  if (whole == 0) {
    throw Error(source.name(),
                overflow
                    ? fmt::format("the .npy header tells of more bytes than any file has, this one has {}",
                                  source.size())
                    : fmt::format("the array needs {} bytes, the file has {}", array_bytes, available),
                "copy the whole file again");
  }
  return whole;
}

ArrayPlan plan_array(const ByteSource& source, const NpyHeader& header, Axes axes) {
  if (axes.empty()) axes = usual_axes(header.shape.size(), source.name());
  if (axes.size() != header.shape.size()) {
    throw Error(source.name(),
                fmt::format("an array of {} axes, \"axes\" names {}", header.shape.size(), axes.size()),
                "name each axis of the shape once");
  }
  ArrayPlan plan;
  plan.coding = header.coding;
  plan.data_offset = header.data_offset;
  plan.file_axes = axes;
  if (header.fortran_order) std::reverse(plan.file_axes.begin(), plan.file_axes.end());
  std::uint64_t array_bytes = bytes_of(header.coding.type);
  std::uint64_t record_bytes = array_bytes;
  bool overflow = false;
  bool too_large = false;
  for (std::size_t i = 0; i < axes.size(); ++i) {
    const std::uint64_t size = header.shape[i];
    if (size == 0)
      throw Error(source.name(), fmt::format("the array has no {}", axes[i]), "save at least one");
    overflow = __builtin_mul_overflow(array_bytes, size, &array_bytes) || overflow;
    if (axes[i] == "record") {
      plan.records = size;
      continue;
    }
    too_large = too_large || __builtin_mul_overflow(record_bytes, size, &record_bytes) ||
                record_bytes > most_record_bytes;
    (axes[i] == "channel" ? plan.channels : plan.samples) = static_cast<std::size_t>(size);
  }
  if (too_large) {
    throw Error(source.name(), fmt::format("one record has more than {} bytes", most_record_bytes),
                "save shorter records");
  }
  const auto record_axis = std::find(plan.file_axes.begin(), plan.file_axes.end(), "record");
  plan.inner_bytes = bytes_of(header.coding.type);
  for (auto axis = plan.file_axes.begin(); axis != plan.file_axes.end(); ++axis) {
    // Without a record axis the one record is a single piece.
    if (record_axis != plan.file_axes.end() && axis < record_axis) {
      plan.outer *= plan.size_of(*axis, 1);
    } else {
      plan.inner_bytes *= plan.size_of(*axis, 1);
    }
  }
  plan.whole_records = whole_records(plan, array_bytes, overflow, source);
  if (plan.whole_records == plan.records) plan.bytes_after = source.size() - plan.data_offset - array_bytes;
  return plan;
}

DecodedSamples read_records(const ByteSource& source, const ArrayPlan& plan, std::uint64_t first,
                            std::size_t count) {
  const std::size_t piece = count * plan.inner_bytes;
  const auto offset_of = [&](std::size_t run) {
    return plan.data_offset + (run * plan.records + first) * plan.inner_bytes;
  };
  std::vector<std::byte> bytes;
  if (plan.outer == 1) {
    bytes = source.read(offset_of(0), piece);
  } else {
    bytes.reserve(piece * plan.outer);
    for (std::size_t run = 0; run < plan.outer; ++run) {
      const std::vector<std::byte> part = source.read(offset_of(run), piece);
      bytes.insert(bytes.end(), part.begin(), part.end());
    }
  }
  SampleGrid grid{.records = count, .channels = plan.channels, .samples = plan.samples};
  std::size_t stride = bytes_of(plan.coding.type);
  for (auto axis = plan.file_axes.rbegin(); axis != plan.file_axes.rend(); ++axis) {
    (*axis == "record"    ? grid.record_stride
     : *axis == "channel" ? grid.channel_stride
                          : grid.sample_stride) = stride;
    stride *= plan.size_of(*axis, count);
  }
  return decode_samples(bytes, plan.coding, grid);
}

// What is to be told when the last whole record has been taken.
FileRecords end_of_array(const ByteSource& source, const ArrayPlan& plan) {
  FileRecords end;
  end.lost_at_end = plan.records - plan.whole_records;
  if (end.lost_at_end > 0) {
    end.problems.emplace_back(
        source.name(),
        fmt::format("the array is cut short: {} of {} records are whole", plan.whole_records, plan.records),
        "copy the whole file again");
  }
  if (plan.bytes_after > 0) {
    end.problems.emplace_back(source.name(),
                              fmt::format("the array ends {} bytes before the file does", plan.bytes_after),
                              "save one array a file");
  }
  return end;
}

FileRecords take_records(const ByteSource& source, const ArrayPlan& plan,
                         const std::vector<ChannelScale>& scales, std::uint64_t first, std::size_t count) {
  const DecodedSamples decoded = read_records(source, plan, first, count);
  FileRecords taken;
  for (std::size_t i = 0; i < count; ++i) {
    FileRecords::One one;
    one.storage = decoded.storage;
    for (std::size_t channel = 0; channel < plan.channels; ++channel) {
      one.traces.push_back(
          scaled_trace(decoded.rows[i * plan.channels + channel], scales[channel], plan.coding.type));
    }
    taken.records.push_back(std::move(one));
  }
  return taken;
}

// The records of one array, as read_file_run takes them.
RecordFile open_array(const ByteSource& source, const Axes& axes, std::vector<ChannelScale> scales) {
  const ArrayPlan plan = plan_array(source, read_npy_header(source), axes);
  if (plan.channels != scales.size()) {
    throw Error(source.name(), fmt::format("has {} channels, the run {}", plan.channels, scales.size()),
                "read files of other channels as a run of their own");
  }
  RecordFile file;
  file.record_count = plan.records;
  const auto done = std::make_shared<std::uint64_t>(0);
  file.next = [&source, plan, scales = std::move(scales), done](std::size_t most) {
    if (*done == plan.whole_records) return end_of_array(source, plan);
    const std::uint64_t left = plan.whole_records - *done;
    const std::size_t count = records_at_once(static_cast<std::size_t>(std::min<std::uint64_t>(most, left)),
                                              plan.channels * plan.samples);
    FileRecords taken = take_records(source, plan, scales, *done, count);
    *done += count;
    return taken;
  };
  file.skip = [plan, done](std::uint64_t most) {
    const std::uint64_t skipped = std::min(most, plan.whole_records - *done);
    *done += skipped;
    return skipped;
  };
  return file;
}

// The first array that can be read: it says how many channels a file holds.
ArrayPlan first_plan(const std::vector<ByteSource>& sources, const Axes& axes) {
  std::optional<Error> first_problem;
  for (const ByteSource& source : sources) {
    try {
      ArrayPlan plan = plan_array(source, read_npy_header(source), axes);
      source.put_down();
      return plan;
    } catch (const Error& problem) {
      if (!first_problem) first_problem = problem;
    }
    source.put_down();
  }
  throw first_problem.value_or(Error("files", "none is given", "name at least one file"));
}

}  // namespace

std::unique_ptr<RecordReader> open_npy(std::vector<ByteSource> sources, const Settings& input) {
  const Axes axes = axes_of(input);
  input.text("format", "");  // known here, whoever chose the reader
  FileArrangement arrangement = arrange_files(std::move(sources), input);
  const ArrayPlan plan = first_plan(arrangement.sources, axes);
  RunDescription description;
  description.format = "npy";
  description.channels =
      arrangement.channels.empty() ? channel_names(input, plan.channels) : arrangement.channels;
  const auto scales = channel_scales(input, description.channels.size());
  description.guesses = scale_guesses(input, plan.coding.type);
  description.metadata["sample type"] = to_text(plan.coding.type);
  input.finish();
  const bool one_file_a_channel = !arrangement.channels.empty();
  return read_file_run(
      std::move(description), std::move(arrangement),
      [axes, scales, one_file_a_channel](const ByteSource& source, std::size_t first_channel) {
        return open_array(source, axes, one_file_a_channel ? std::vector{scales.at(first_channel)} : scales);
      });
}

}  // namespace firstedge
