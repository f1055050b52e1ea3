#include "firstedge/batch/prepared_run.hpp"

#include "firstedge/core/digest.hpp"

#include <algorithm>
#include <map>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

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

class LearntDigest {
 public:
  void add(double number) { append(&number, sizeof number); }
  void add(const std::vector<double>& numbers) {
    add(static_cast<double>(numbers.size()));
    append(numbers.data(), numbers.size() * sizeof(double));
  }
  void add(const NoiseModel& noise) {
    add(noise.interval_s);
    add(noise.autocovariance_v2);
  }
  void add(const PulseTemplate& shape) {
    for (const double number : {shape.interval_s, shape.first_s, shape.reference_fraction}) add(number);
    add(shape.shape);
    add(shape.shape_uncertainty);
  }
  void add(const WalkCorrection& walk) {
    add(walk.threshold_v);
    add(walk.walk.first_log);
    add(walk.walk.step_log);
    add(walk.walk.value);
  }
  std::string sum() const { return sha256(bytes_); }

 private:
  void append(const void* from, std::size_t size) {
    const auto* bytes = static_cast<const std::byte*>(from);
    bytes_.insert(bytes_.end(), bytes, bytes + size);
  }
  std::vector<std::byte> bytes_;
};

std::string digest_of(const std::vector<LearntChannel>& channels) {
  LearntDigest digest;
  for (const LearntChannel& channel : channels) {
    digest.add(channel.interval_s);
    digest.add(channel.noise);
    if (channel.pulse_template) digest.add(*channel.pulse_template);
    if (channel.family) {
      for (const ShapeComponent& component : channel.family->components) digest.add(component.shape);
    }
    for (const auto& walk : channel.walks) {
      if (walk) digest.add(*walk);
    }
  }
  return digest.sum();
}

}  // namespace

PreparedRun prepare_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                        const Provenance& provenance, const std::vector<PulseTemplate>& templates) {
  return prepare_run(*open_records(files, setup.input), setup, provenance, templates);
}

PreparedRun prepare_run(RecordReader& reader, const Setup& setup, const Provenance& provenance,
                        const std::vector<PulseTemplate>& templates) {
  PreparedRun run;
  run.channels = learn_channels(reader, setup, templates);
  MethodList list = number_methods(run.channels);
  for (std::size_t c = 0; c < run.channels.size(); ++c)
    run.timers.emplace_back(run.channels[c], static_cast<std::uint16_t>(c), list.of_channel[c]);
  describe_methods(list, run.timers, run.channels);
  run.head = head_of(setup, run.channels, list, provenance);
  run.learnt_sha256 = digest_of(run.channels);
  return run;
}

StampTableHead head_of_part(const PreparedRun& run, const std::optional<RecordPart>& part) {
  StampTableHead head = run.head;
  if (part)
    head.part = StampTablePart{.number = part->number, .of = part->of, .learnt_sha256 = run.learnt_sha256};
  return head;
}

Provenance with_digests(const Provenance& provenance, const RunOptions& options) {
  Provenance known = provenance;
  if (options.digests) known.inputs = options.digests->wait();
  return known;
}

RunSummary empty_summary(const PreparedRun& run) {
  RunSummary summary;
  summary.channels = run.channels;
  summary.methods = run.head.methods;
  summary.cells.assign(run.channels.size(), std::vector<RunSummary::Cell>(run.head.methods.size()));
  return summary;
}

void count_stamps(std::span<const Stamp> stamps, RunSummary& summary) {
  for (const Stamp& stamp : stamps) {
    RunSummary::Cell& cell = summary.cells[stamp.channel][stamp.method];
    ++cell.stamps;
    cell.unflagged += stamp.flags.empty() ? 1 : 0;
    if (!stamp.flags.has(Flag::not_timed)) cell.uncertainty_s.add(stamp.uncertainty_s);
    for (std::size_t f = 0; f < flag_table.size(); ++f)
      cell.flagged[f] += stamp.flags.has(flag_table[f].flag) ? 1 : 0;
  }
  summary.stamps += stamps.size();
}

}  // namespace firstedge
