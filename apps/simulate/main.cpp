// firstedge-simulate: a planned bench or beam in, recorded-looking traces and their truth out.
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/json_settings.hpp"
#include "firstedge/io/record_writer.hpp"
#include "firstedge/io/stamp_table.hpp"
#include "firstedge/simulate/description.hpp"
#include "firstedge/simulate/simulation.hpp"

#include "common/app.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace {

using namespace firstedge;

struct Options {
  std::filesystem::path plan, records = "run.h5", truth;
  std::uint64_t count = 0;
  std::int64_t seed = -1;
  int deflate_level = 4;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("plan", options.plan,
                 "The plan (JSON): samples, channels, shapes, heights, noise, digitizer")
      ->required();
  app.add_option("-o,--output", options.records, "File of records to write (HDF5)");
  app.add_option("--truth", options.truth, "Write the true times as a stamp table: .h5 or .csv");
  app.add_option("--records", options.count, "Number of records, in place of the plan's");
  app.add_option("--seed", options.seed, "Seed, in place of the plan's")->check(CLI::NonNegativeNumber);
  app.add_option("--deflate", options.deflate_level, "Compression level, 0 for none")
      ->check(CLI::Range(0, 9));
  add_result_options(app, options.outputs);
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

int simulate(const Options& options, int argc, char** argv) {
  SimulationPlan plan = simulation_plan(
      settings_from_json(read_text_file(options.plan, most_json_bytes), options.plan.string()));
  if (options.count > 0) plan.records = options.count;
  if (options.seed >= 0) plan.seed = static_cast<std::uint64_t>(options.seed);
  const Simulation simulation(plan);

  RecordWriterOptions layout{
      .channels = {}, .deflate_level = options.deflate_level, .attributes = {{"title", plan.title}}};
  for (const ChannelPlan& channel : plan.channels) layout.channels.push_back(channel.name);
  RecordWriter records(options.records, layout);
  Provenance provenance = provenance_of(argc, argv, {options.plan}, "");
  provenance.options["seed"] = fmt::format("{}", plan.seed);
  std::optional<StampTableWriter> truth;
  if (!options.truth.empty()) truth.emplace(options.truth, truth_head(plan, provenance));
  {
    ProgressLine progress("simulating");
    constexpr std::uint64_t block_size = 256;
    for (std::uint64_t first = 0; first < plan.records; first += block_size) {
      const auto count = static_cast<std::size_t>(std::min(block_size, plan.records - first));
      const SimulatedBlock block = simulation.records(first, count);
      records.write(block.block);
      if (truth) truth->write(block.truth);
      progress.show(first + count, static_cast<double>(first + count) / static_cast<double>(plan.records));
    }
  }
  records.finish();
  if (truth) truth->finish();
  put_out(describe(simulation, provenance), options.outputs);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app(
      "Makes recorded-looking traces of a planned bench, and the true time of every pulse. Same plan and "
      "seed, "
      "same traces.");
  firstedge::give_manners(app, "simulate");
  app.footer("Example:\n  firstedge-simulate bench.plan.json -o bench.h5 --truth bench.truth.h5");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return simulate(options, argc, argv); });
}
