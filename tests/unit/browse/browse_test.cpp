// Claims of browsing a run: the traces are those of the records, times stand on them, fits leave the noise,
// and the choice is bounded and always the same.
#include "firstedge/browse/browse.hpp"

#include "firstedge/batch/run.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/record_reader.hpp"

#include "support/small_bench.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numeric>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr std::uint64_t records = 300;

// One stamped run for all tests.
class browse : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = new test::TemporaryFolder;
    test::write_run(test::small_bench(records), file());
    RunOptions options;
    options.threads = 1;
    stamp_run({file()}, setup(), table(), {}, options);
    usual_ = new TraceBrowser(browser());
  }
  static void TearDownTestSuite() {
    delete usual_;
    delete folder_;
  }

  static firstedge::Setup setup() { return parse_setup(test::small_bench_setup, "small bench"); }
  static std::filesystem::path file() { return *folder_ / "run.h5"; }
  static std::filesystem::path table() { return *folder_ / "stamps.h5"; }
  /// With the usual options, made once.
  static const TraceBrowser& usual() { return *usual_; }
  static TraceBrowser browser(const BrowseOptions& options = {}) {
    return browse_run({file()}, setup(), table(), options).browser;
  }

 private:
  static inline test::TemporaryFolder* folder_ = nullptr;
  static inline TraceBrowser* usual_ = nullptr;
};

TEST_F(browse, shows_the_samples_that_were_recorded_at_their_times) {
  const TraceBrowser& shown = usual();
  std::map<std::uint64_t, Record> by_index;
  const auto reader = open_records({file()}, {});
  const RecordBlock block = reader->next_block(records);
  for (const Record& record : block.records) by_index[record.index] = record;
  ASSERT_FALSE(shown.traces.empty());
  for (const BrowsedTrace& trace : shown.traces) {
    const Trace& recorded = by_index.at(trace.record).traces.at(trace.channel);
    const std::vector<double> all = volts(recorded);
    ASSERT_EQ(trace.volts.size(), all.size());
    EXPECT_EQ(trace.first_sample_s, recorded.first_sample_s);
    // Taking the level away and putting it back rounds twice.
    for (std::size_t i = 0; i < all.size(); ++i) ASSERT_NEAR(trace.volts[i], all[i], 1e-12);
  }
}

TEST_F(browse, cuts_long_traces_to_a_stretch_that_holds_the_pulse) {
  BrowseOptions options;
  options.most_traces = 20;
  options.most_values = 20 * 2 * 50;  // trace and fit of 50 samples each
  const TraceBrowser shown = browser(options);
  ASSERT_EQ(shown.traces.size(), 20U);
  for (const BrowsedTrace& trace : shown.traces) {
    ASSERT_EQ(trace.volts.size(), 50U);
    ASSERT_EQ(trace.fit_volts.size(), 50U);
    const double last_s = trace.first_sample_s + 49 * trace.interval_s;
    EXPECT_GE(trace.stamps.back().time_s, trace.first_sample_s);
    EXPECT_LE(trace.stamps.back().time_s, last_s);
    const auto whole = std::find_if(usual().traces.begin(), usual().traces.end(), [&](const auto& one) {
      return one.record == trace.record && one.channel == trace.channel && one.pulse == trace.pulse;
    });
    ASSERT_NE(whole, usual().traces.end());
    const auto from = static_cast<std::size_t>(
        std::round((trace.first_sample_s - whole->first_sample_s) / trace.interval_s));
    EXPECT_EQ(trace.volts.front(), whole->volts[from]);
  }
}

TEST_F(browse, puts_the_crossing_of_a_constant_fraction_at_its_fraction) {
  // 0.3 of the height over the baseline. A straight line between samples and the interpolation that the
  // method uses differ by less than an eighth of the curvature: a twentieth of the height at 4.5 samples an
  // edge.
  for (const BrowsedTrace& trace : usual().traces) {
    for (std::size_t s = 0; s < trace.stamps.size(); ++s) {
      const Stamp& stamp = trace.stamps[s];
      if (stamp.method != 0 || !stamp.flags.empty()) continue;
      const double share = stamp.polarity * (trace.level_v[s] - stamp.baseline_v) / stamp.height_v;
      EXPECT_NEAR(share, 0.3, 0.05 + 3 * stamp.noise_v / stamp.height_v);
    }
  }
}

TEST_F(browse, leaves_the_noise_where_the_fit_is_good) {
  // Mean square of some 250 residuals over the variance of the noise: 1 with a standard deviation of
  // sqrt(2 / 250) = 0.09; the noise itself is known to 1 %. Five of these over some 100 traces.
  int good = 0;
  for (const BrowsedTrace& trace : usual().traces) {
    const Stamp& stamp = trace.stamps.back();
    if (!stamp.flags.empty()) continue;
    ASSERT_EQ(trace.fit_volts.size(), trace.volts.size());
    double sum = 0;
    for (std::size_t i = 0; i < trace.volts.size(); ++i)
      sum += std::pow((trace.volts[i] - trace.fit_volts[i]) / stamp.noise_v, 2);
    EXPECT_NEAR(sum / static_cast<double>(trace.volts.size()), 1, 0.5) << trace.record;
    ++good;
  }
  EXPECT_GT(good, 20);
}

TEST_F(browse, chooses_the_same_pulses_again_and_no_more_than_allowed) {
  BrowseOptions options;
  options.most_traces = 37;
  const TraceBrowser once = browser(options), again = browser(options);
  ASSERT_LE(once.traces.size(), 37U);
  ASSERT_EQ(once.traces.size(), again.traces.size());
  for (std::size_t at = 0; at < once.traces.size(); ++at) {
    EXPECT_EQ(once.traces[at].record, again.traces[at].record);
    EXPECT_EQ(once.traces[at].volts, again.traces[at].volts);
  }
}

TEST_F(browse, counts_every_pulse_in_a_bin_or_outside_and_leads_from_bins_to_their_pulses) {
  const TraceBrowser& shown = usual();
  const Survey survey = survey_table(table(), {});
  for (std::size_t c = 0; c < survey.channels.size(); ++c) {
    const BinnedPulses& heights = survey.channels[c].heights;
    const std::uint64_t inside =
        std::accumulate(heights.counts.begin(), heights.counts.end(), std::uint64_t{0});
    EXPECT_EQ(inside + heights.outside, survey.channels[c].pulses);
  }
  const Plot& plot = shown.result.plots.at(1);  // the heights of the first channel
  const auto behind = std::find_if(shown.points.begin(), shown.points.end(),
                                   [&](const PointTraces& points) { return points.plot_key == plot.key; });
  ASSERT_NE(behind, shown.points.end());
  const std::vector<double>& middles = plot.series[0].x;
  ASSERT_EQ(behind->of_point.size(), middles.size());
  const double half = 0.5 * (middles[1] - middles[0]);
  for (std::size_t bin = 0; bin < middles.size(); ++bin) {
    EXPECT_EQ(behind->of_point[bin].empty(), plot.series[0].y[bin] == 0);
    EXPECT_LE(static_cast<double>(behind->of_point[bin].size()), plot.series[0].y[bin]);
    for (const std::size_t at : behind->of_point[bin]) {
      const Stamp& stamp = shown.traces[at].stamps.at(2);  // the template fit
      EXPECT_NEAR(stamp.height_v, middles[bin], half * (1 + 1e-9));
    }
  }
}

std::string refusal(const std::function<void()>& call) {
  try {
    call();
  } catch (const Error& error) {
    return error.problem();
  }
  return "nothing refused";
}

// The table with other stamps and a changed head.
void copy_table(const std::filesystem::path& from, const std::filesystem::path& to, bool delayed,
                bool empty) {
  StampTableReader reader(from);
  StampTableHead head = reader.head();
  if (delayed) head.applied_delays = {{.channel = "a", .delay_s = 1e-9}};
  StampTableWriter writer(to, head);
  if (!empty) writer.write(reader.next_block(1000));
  writer.finish();
}

TEST_F(browse, refuses_tables_without_stamps_and_those_whose_delays_were_taken_out) {
  const test::TemporaryFolder folder;
  copy_table(table(), folder / "empty.h5", false, true);
  copy_table(table(), folder / "delayed.h5", true, false);
  const auto browsed = [&](const char* name) {
    return refusal([&] { browse_run({file()}, setup(), folder / name); });
  };
  EXPECT_EQ(browsed("empty.h5"), "holds no stamp");
  EXPECT_EQ(browsed("delayed.h5"),
            "has times that delays were taken out of, so that they do not fit the traces");
}

TEST_F(browse, refuses_a_method_that_is_not_there_a_choice_of_none_and_files_of_another_run) {
  BrowseOptions options;
  options.survey.method = "no_such_method";
  EXPECT_THROW(browser(options), Error);
  options.survey = {.of_each_flag = 0, .of_each_bin = 0, .of_each_extreme = 0};
  EXPECT_EQ(refusal([&] { browser(options); }), "has no pulse of the method 'template_fit' to choose");
  SimulationPlan plan = test::small_bench(5);
  const test::TemporaryFolder folder;
  RecordWriter writer(folder / "other.h5", {.channels = {"c", "d"}, .attributes = {}});
  writer.write(Simulation(plan).records(0, plan.records).block);
  writer.finish();
  EXPECT_THROW(browse_run({folder / "other.h5"}, setup(), table()), Error);
}

}  // namespace
}  // namespace firstedge
