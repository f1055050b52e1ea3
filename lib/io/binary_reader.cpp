#include "firstedge/io/binary_reader.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/binary_layout.hpp"
#include "firstedge/io/file_run.hpp"

#include <algorithm>
#include <cstdint>
#include <memory>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

// The records of one file: how many, how long, and what is left at its end.
struct FilePlan {
  std::uint64_t records = 0;
  std::size_t samples = 0;
  std::uint64_t bytes_left = 0;
};

FilePlan plan_file(const ByteSource& source, const BinaryLayout& layout) {
  const auto refuse = [&](const std::string& problem) {
    throw Error(source.name(), problem, "correct the layout, or copy the whole file again");
  };
  if (source.size() == 0) refuse("is empty");
  if (source.size() < layout.file_header_bytes) {
    refuse(fmt::format("ends inside its header: {} of {} bytes", source.size(), layout.file_header_bytes));
  }
  const std::uint64_t rest = source.size() - layout.file_header_bytes;
  FilePlan plan;
  const std::uint64_t samples = layout.samples ? *layout.samples : layout.fit(rest).samples;
  const std::uint64_t record_bytes = layout.record_bytes(samples);
  if (samples == 0 || record_bytes > rest) {
    refuse(fmt::format("holds no whole record: {} bytes of {}", rest,
                       layout.record_bytes(std::max<std::uint64_t>(samples, 1))));
  }
  if (record_bytes > most_record_bytes) {
    refuse(fmt::format("is one record of {} bytes, more than {}", record_bytes, most_record_bytes));
  }
  plan.samples = static_cast<std::size_t>(samples);
  plan.records = layout.samples ? rest / record_bytes : 1;
  plan.bytes_left = rest - plan.records * record_bytes;
  return plan;
}

// What is to be told when the last whole record has been taken.
FileRecords end_of_file(const ByteSource& source, const BinaryLayout& layout, const FilePlan& plan) {
  FileRecords end;
  if (plan.bytes_left == 0) return end;
  if (layout.samples) {
    end.lost_at_end = 1;
    end.problems.emplace_back(source.name(),
                              fmt::format("the last record is cut short: {} of {} bytes", plan.bytes_left,
                                          layout.record_bytes(plan.samples)),
                              "copy the whole file again, or correct the layout");
  } else {
    end.problems.emplace_back(source.name(),
                              fmt::format("{} bytes are left after the last sample", plan.bytes_left),
                              "correct the layout");
  }
  return end;
}

RecordFile open_file(const ByteSource& source, const BinaryLayout& layout, const Settings& settings) {
  settings.finish();
  const FilePlan plan = plan_file(source, layout);
  RecordFile file;
  file.record_count = plan.records + (layout.samples && plan.bytes_left > 0 ? 1 : 0);
  const auto done = std::make_shared<std::uint64_t>(0);
  file.next = [&source, layout, plan, done](std::size_t most) {
    if (*done == plan.records) return end_of_file(source, layout, plan);
    const std::size_t count =
        records_at_once(static_cast<std::size_t>(std::min<std::uint64_t>(most, plan.records - *done)),
                        layout.channels * plan.samples);
    const std::uint64_t record_bytes = layout.record_bytes(plan.samples);
    const std::vector<std::byte> bytes = source.read(layout.file_header_bytes + *done * record_bytes,
                                                     static_cast<std::size_t>(count * record_bytes));
    *done += count;
    return decode_records(bytes, layout, count, plan.samples, source.name());
  };
  file.skip = [plan, done](std::uint64_t most) {
    const std::uint64_t skipped = std::min(most, plan.records - *done);
    *done += skipped;
    return skipped;
  };
  return file;
}

}  // namespace

std::unique_ptr<RecordReader> open_binary(std::vector<ByteSource> sources, const Settings& input) {
  return open_with_layout("binary", std::move(sources), input, open_file);
}

}  // namespace firstedge
