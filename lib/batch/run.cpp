#include "firstedge/batch/run.hpp"

#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <deque>
#include <map>

#include <fmt/format.h>
#include <tbb/global_control.h>
#include <tbb/info.h>
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

// The run's list of methods. Two channels share a method when it has the same name and stands at the same
// place among those of that name, so that a leading edge with a threshold of its own in each channel is still
// one method.
struct MethodList {
  std::vector<StampTableHead::Method> methods;
  std::map<std::pair<std::string, int>, std::uint16_t> numbers;
  std::vector<std::vector<std::uint16_t>> of_channel;
};

MethodList number_methods(const std::vector<LearntChannel>& channels) {
  MethodList list;
  for (const LearntChannel& channel : channels) {
    std::map<std::string, int> seen;
    std::vector<std::uint16_t> numbers;
    for (const Settings& settings : channel.timing) {
      const std::string name = settings.text("method", "");
      const auto key = std::pair{name, seen[name]++};
      const auto [at, is_new] = list.numbers.emplace(key, static_cast<std::uint16_t>(list.methods.size()));
      if (is_new) list.methods.push_back({.name = name, .settings = ""});
      numbers.push_back(at->second);
    }
    list.of_channel.push_back(std::move(numbers));
  }
  return list;
}

// Names that tell methods apart ("constant_fraction", "constant_fraction 2") and their settings, by channel
// where they differ between channels.
void describe_methods(MethodList& list, const std::deque<ChannelTimer>& timers,
                      const std::vector<LearntChannel>& channels) {
  for (std::size_t m = 0; m < list.methods.size(); ++m) {
    std::vector<std::pair<std::string, std::string>> said;
    for (std::size_t c = 0; c < channels.size(); ++c) {
      for (std::size_t i = 0; i < list.of_channel[c].size(); ++i) {
        if (list.of_channel[c][i] == m) said.emplace_back(channels[c].name, timers[c].methods()[i].settings);
      }
    }
    const bool same =
        std::all_of(said.begin(), said.end(), [&](const auto& one) { return one.second == said[0].second; });
    std::string& text = list.methods[m].settings;
    if (same) {
      text = said.empty() ? "" : said.front().second;
    } else {
      for (const auto& [channel, settings] : said)
        text += fmt::format("{}{}: {}", text.empty() ? "" : "; ", channel, settings);
    }
  }
  for (const auto& [key, number] : list.numbers) {
    if (key.second > 0) list.methods[number].name = fmt::format("{} {}", key.first, key.second + 1);
  }
}

StampTableHead head_of(const Setup& setup, const std::vector<LearntChannel>& channels, const MethodList& list,
                       const Provenance& provenance) {
  StampTableHead head{
      .title = setup.title, .channels = {}, .methods = list.methods, .provenance = provenance};
  for (const LearntChannel& channel : channels) {
    head.channels.push_back({.name = channel.name,
                             .sensor = channel.sensor,
                             .interval_s = channel.interval_s,
                             .load_ohm = channel.load_ohm,
                             .noise_v = channel.noise.rms_v()});
  }
  return head;
}

void stamp_batch(Batch& batch, const std::deque<ChannelTimer>& timers) {
  for (const Record& record : batch.block.records) {
    if (record.trigger) batch.triggers.push_back({.record = record.index, .instant = *record.trigger});
    for (std::size_t c = 0; c < timers.size(); ++c) {
      const std::vector<Stamp> stamps = timers[c].stamps(record.traces[c], record.index);
      batch.stamps.insert(batch.stamps.end(), stamps.begin(), stamps.end());
    }
  }
}

void count(const std::vector<Stamp>& stamps, RunSummary& summary) {
  for (const Stamp& stamp : stamps) {
    RunSummary::Cell& cell = summary.cells[stamp.channel][stamp.method];
    ++cell.stamps;
    cell.unflagged += stamp.flags.empty() ? 1 : 0;
    for (std::size_t f = 0; f < flag_table.size(); ++f)
      cell.flagged[f] += stamp.flags.has(flag_table[f].flag) ? 1 : 0;
  }
  summary.stamps += stamps.size();
}

}  // namespace

RunSummary stamp_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                     const std::filesystem::path& table, const Provenance& provenance,
                     const RunOptions& options) {
  RunSummary summary;
  summary.channels = learn_channels(*open_records(files, setup.input), setup, options.templates);
  MethodList list = number_methods(summary.channels);
  std::deque<ChannelTimer> timers;  // a timer holds a mutex and stays where it is
  for (std::size_t c = 0; c < summary.channels.size(); ++c) {
    timers.emplace_back(summary.channels[c], static_cast<std::uint16_t>(c), list.of_channel[c]);
  }
  describe_methods(list, timers, summary.channels);
  summary.methods = list.methods;
  summary.cells.assign(summary.channels.size(), std::vector<RunSummary::Cell>(list.methods.size()));

  const std::unique_ptr<RecordReader> reader = open_records(files, setup.input);
  StampTableWriter writer(table, head_of(setup, summary.channels, list, provenance));
  const std::size_t records_in_block = std::max<std::size_t>(1, options.records_in_block);

  std::uint64_t records_read = 0;
  const auto read = [&](tbb::flow_control& control) -> std::shared_ptr<Batch> {
    auto batch = std::make_shared<Batch>();
    batch->block = reader->next_block(records_in_block);
    records_read += batch->block.records.size();
    batch->share_read = share_read(*reader, records_read);
    if (batch->block.records.empty()) control.stop();
    return batch;
  };
  const auto stamp = [&](std::shared_ptr<Batch> batch) {
    stamp_batch(*batch, timers);
    return batch;
  };
  const auto write = [&](const std::shared_ptr<Batch>& batch) {
    writer.write(batch->stamps, batch->triggers);
    count(batch->stamps, summary);
    summary.records += batch->block.records.size();
    if (options.progress) options.progress(summary.records, batch->share_read);
  };
  const int threads = options.threads > 0 ? options.threads : tbb::info::default_concurrency();
  const tbb::global_control limit(tbb::global_control::max_allowed_parallelism,
                                  static_cast<std::size_t>(threads));
  const std::size_t blocks_under_way = 2 * static_cast<std::size_t>(threads);
  tbb::parallel_pipeline(
      blocks_under_way,
      tbb::make_filter<void, std::shared_ptr<Batch>>(tbb::filter_mode::serial_in_order, read) &
          tbb::make_filter<std::shared_ptr<Batch>, std::shared_ptr<Batch>>(tbb::filter_mode::parallel,
                                                                           stamp) &
          tbb::make_filter<std::shared_ptr<Batch>, void>(tbb::filter_mode::serial_in_order, write));
  writer.finish();
  summary.description = reader->description();
  summary.account = reader->account();
  return summary;
}

}  // namespace firstedge
