// Claims of delays from a run's files: truth within the stated uncertainty for a line through and by
// reflection, in one run and in two, with pulses that stand elsewhere in every record.
#include "firstedge/batch/run_delay.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/record_writer.hpp"

#include "support/line_measurements.hpp"
#include "support/temporary_folder.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::filesystem::path written(const SimulationPlan& plan, const std::filesystem::path& file,
                              std::size_t records) {
  const Simulation simulation(plan);
  std::vector<std::string> names;
  for (const ChannelPlan& channel : plan.channels) names.push_back(channel.name);
  RecordWriter writer(file, {.channels = names});
  writer.write(simulation.records(0, records).block);
  writer.finish();
  return file;
}

TEST(run_delay, through_one_run_whose_pulses_wander) {
  const test::TemporaryFolder folder;
  SimulationPlan plan = test::through_plan(9, 500, {.delay_s = 17.321e-9, .skin_s = 0.1e-9});
  plan.passage_s = {-2e-9, 2e-9};
  const auto file = written(plan, folder.path() / "run.h5", 200);
  const ThroughRun run = through_of_run({file}, default_setup());
  EXPECT_TRUE(run.account.problems.empty());
  const ThroughDelay found = through_delay(run.data);
  EXPECT_NEAR(found.bulk_delay_s.value, 17.321e-9, 4 * found.bulk_delay_s.uncertainty);
  EXPECT_LT(found.bulk_delay_s.uncertainty, 5e-12);
  // Moved by whole samples, what is left is spread evenly over one: 0.2 ns / sqrt(12).
  EXPECT_NEAR(run.data.blur_s, 0.2e-9 / std::sqrt(12.0), 0.01e-9);
  ASSERT_EQ(found.ways.size(), 4U);  // correlation and the three methods of the default Setup
  for (const WayOfReading& way : found.ways)
    EXPECT_NEAR(way.corrected_s.value, 17.321e-9, 5 * way.corrected_s.uncertainty) << way.name;
}

TEST(run_delay, through_two_runs_with_one_trigger) {
  const test::TemporaryFolder folder;
  SimulationPlan plan = test::through_plan(10, 500, {.delay_s = 12.5e-9, .skin_s = 0.05e-9});
  plan.passage_s = {0, 0};
  SimulationPlan first = plan, second = plan;
  first.channels.erase(first.channels.begin() + 1);
  second.channels.erase(second.channels.begin());
  second.seed = 11;
  ThroughRunOptions options;
  options.files_after = {written(second, folder.path() / "after.h5", 120)};
  const ThroughRun run =
      through_of_run({written(first, folder.path() / "before.h5", 120)}, default_setup(), options);
  EXPECT_TRUE(run.data.two_runs);
  const ThroughDelay found = through_delay(run.data);
  EXPECT_NEAR(found.bulk_delay_s.value, 12.5e-9, 4 * found.bulk_delay_s.uncertainty);
}

TEST(run_delay, reflection_of_one_channel) {
  const test::TemporaryFolder folder;
  SimulationPlan plan = test::reflection_plan(
      12, 600, {.delay_s = 30.123e-9, .skin_s = 0.05e-9, .end = LinePlan::End::shorted});
  plan.passage_s = {-2e-9, 2e-9};
  const ReflectionRun run =
      reflection_of_run({written(plan, folder.path() / "run.h5", 100)}, default_setup());
  const ReflectionDelay found = reflection_delay(run.average, {.end = ReflectionOptions::End::shorted});
  ASSERT_TRUE(found.delay_s.has_value());
  EXPECT_NEAR(found.delay_s->value, 30.123e-9, 4 * found.delay_s->uncertainty);
  EXPECT_EQ(run.average.records() + run.left_out, 100U);
}

TEST(run_delay, channels_that_are_not_there_are_refused) {
  const test::TemporaryFolder folder;
  const auto file =
      written(test::through_plan(1, 400, {.delay_s = 5e-9, .skin_s = 0}), folder.path() / "run.h5", 60);
  EXPECT_THROW(through_of_run({file}, default_setup(), {.before = "nobody"}), Error);
  EXPECT_THROW(through_of_run({file}, default_setup(), {.before = "after", .after = "after"}), Error);
  EXPECT_THROW(reflection_of_run({file}, default_setup(), {.channel = "nobody"}), Error);
}

}  // namespace
}  // namespace firstedge
