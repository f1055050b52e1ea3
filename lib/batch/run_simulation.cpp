#include "firstedge/batch/run_simulation.hpp"

#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/json_settings.hpp"
#include "firstedge/io/record_writer.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {

SimulationPlan read_simulation_plan(const std::filesystem::path& file) {
  return simulation_plan(settings_from_json(read_text_file(file, most_json_bytes), file.string()));
}

StampTableHead truth_head(const SimulationPlan& plan, const Provenance& provenance) {
  StampTableHead head{
      .title = plan.title, .channels = {}, .methods = {{"truth", "half height"}}, .provenance = provenance};
  for (const ChannelPlan& channel : plan.channels) {
    const double noise_v = std::sqrt(channel.noise.white_v * channel.noise.white_v +
                                     channel.noise.band_v * channel.noise.band_v +
                                     channel.noise.flicker_v * channel.noise.flicker_v);
    head.channels.push_back({.name = channel.name,
                             .sensor = channel.sensor,
                             .interval_s = plan.interval_s,
                             .load_ohm = channel.load_ohm,
                             .noise_v = noise_v});
  }
  return head;
}

void write_simulation(const Simulation& simulation, const Provenance& provenance,
                      const SimulationRunOptions& options) {
  const SimulationPlan& plan = simulation.plan();
  RecordWriterOptions layout{
      .channels = {}, .deflate_level = options.deflate_level, .attributes = {{"title", plan.title}}};
  for (const ChannelPlan& channel : plan.channels) layout.channels.push_back(channel.name);
  RecordWriter records(options.records, layout);
  std::optional<StampTableWriter> truth;
  if (options.truth) truth.emplace(*options.truth, truth_head(plan, provenance));
  constexpr std::uint64_t block_size = 256;
  for (std::uint64_t first = 0; first < plan.records; first += block_size) {
    const auto count = static_cast<std::size_t>(std::min(block_size, plan.records - first));
    const SimulatedBlock block = simulation.records(first, count);
    records.write(block.block);
    if (truth) truth->write(block.truth);
    if (options.progress)
      options.progress(first + count, static_cast<double>(first + count) / static_cast<double>(plan.records));
  }
  records.finish();
  if (truth) truth->finish();
}

}  // namespace firstedge
