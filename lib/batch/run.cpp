#include "firstedge/batch/run.hpp"

#include "firstedge/batch/kept_reader.hpp"
#include "firstedge/batch/prepared_run.hpp"
#include "firstedge/batch/resume.hpp"
#include "firstedge/core/threads.hpp"
#include "firstedge/io/locked_file.hpp"

#include <algorithm>
#include <deque>
#include <memory>
#include <span>
#include <utility>

#include <tbb/parallel_pipeline.h>

namespace firstedge {
namespace {

// A block on its way through the pipeline.
struct Batch {
  RecordBlock block;
  std::vector<Stamp> stamps;
  std::vector<TriggerRow> triggers;
  std::optional<double> share_read;  // of the input, with this block
};

std::optional<double> share_read(const RecordReader& reader, std::uint64_t records) {
  const std::optional<std::uint64_t> total = reader.description().record_count;
  if (!total || *total == 0) return reader.share_read();
  return static_cast<double>(std::min(records, *total)) / static_cast<double>(*total);
}

// The stamps of some records that follow one another, in order.
void stamp_together(std::span<const Record> records, const std::deque<ChannelTimer>& timers,
                    std::vector<Stamp>& stamps) {
  if (records.size() == 1) {
    for (std::size_t c = 0; c < timers.size(); ++c) {
      const std::vector<Stamp> some = timers[c].stamps(records[0].traces[c], records[0].index);
      stamps.insert(stamps.end(), some.begin(), some.end());
    }
    return;
  }
  std::vector<std::uint64_t> numbers;
  for (const Record& record : records) numbers.push_back(record.index);
  std::vector<std::vector<std::vector<Stamp>>> of_channels;
  for (std::size_t c = 0; c < timers.size(); ++c) {
    std::vector<Trace> traces;
    for (const Record& record : records) traces.push_back(record.traces[c]);
    of_channels.push_back(timers[c].stamps(traces, numbers));
  }
  for (std::size_t k = 0; k < records.size(); ++k) {
    for (const auto& channel : of_channels) stamps.insert(stamps.end(), channel[k].begin(), channel[k].end());
  }
}

void stamp_batch(Batch& batch, const std::deque<ChannelTimer>& timers) {
  std::size_t at_once = 1;
  for (const ChannelTimer& timer : timers) at_once = std::max(at_once, timer.traces_at_once());
  const std::span<const Record> records(batch.block.records);
  for (std::size_t first = 0; first < records.size(); first += at_once)
    stamp_together(records.subspan(first, std::min(at_once, records.size() - first)), timers, batch.stamps);
  for (const Record& record : records)
    if (record.trigger) batch.triggers.push_back({.record = record.index, .instant = *record.trigger});
}

}  // namespace

void stamp_records(const PreparedRun& run, RecordReader& reader, const RunOptions& options,
                   const std::function<void(const StampedBlock&)>& take) {
  const std::size_t records_in_block = std::max<std::size_t>(1, options.records_in_block);

  std::uint64_t records_read = 0;
  const auto read = [&](tbb::flow_control& control) -> std::shared_ptr<Batch> {
    auto batch = std::make_shared<Batch>();
    batch->block = reader.next_block(records_in_block);
    records_read += batch->block.records.size();
    batch->share_read = share_read(reader, records_read);
    if (batch->block.records.empty()) control.stop();
    return batch;
  };
  const auto stamp = [&](std::shared_ptr<Batch> batch) {
    stamp_batch(*batch, run.timers);
    return batch;
  };
  const auto write = [&](const std::shared_ptr<Batch>& batch) {
    take({.records = batch->block.records.size(),
          .next_record = batch->block.records.back().index + 1,
          .stamps = batch->stamps,
          .triggers = batch->triggers,
          .share_read = batch->share_read});
  };
  const ThreadLimit limit(options.threads);
  const std::size_t blocks_under_way = 2 * static_cast<std::size_t>(limit.threads());
  tbb::parallel_pipeline(
      blocks_under_way,
      tbb::make_filter<void, std::shared_ptr<Batch>>(tbb::filter_mode::serial_in_order, read) &
          tbb::make_filter<std::shared_ptr<Batch>, std::shared_ptr<Batch>>(tbb::filter_mode::parallel,
                                                                           stamp) &
          tbb::make_filter<std::shared_ptr<Batch>, void>(tbb::filter_mode::serial_in_order, write));
}

RunSummary stamp_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                     const std::filesystem::path& table, const Provenance& provenance,
                     const RunOptions& options) {
  auto reader = std::make_shared<KeptReader>(open_records(files, setup.input));
  const PreparedRun run = prepare_run(*reader, setup, provenance, options.templates);
  reader->begin_again();
  RunTail tail = tail_of(run, files, setup, journal_beside(table), options, std::move(reader));
  RunSummary summary = empty_summary(run);
  summary.description = tail.reader->description();

  StampTableWriter writer(table, head_of_part(run, options.part));
  const auto write = [&](const auto& block) {
    writer.write(block.stamps, block.triggers);
    count_stamps(block.stamps, summary);
    summary.records += block.records;
  };
  if (tail.journal) tail.journal->replay(write);
  stamp_tail(run, tail, options, [&](const StampedBlock& block) {
    write(block);
    if (options.progress) options.progress(summary.records, block.share_read);
  });
  summary.account = account_of(tail);
  if (options.digests) writer.complete(with_digests(provenance, options));
  writer.finish();
  if (tail.journal) {
    settle_on_disk(table);
    tail.journal->remove();
  }
  return summary;
}

}  // namespace firstedge
