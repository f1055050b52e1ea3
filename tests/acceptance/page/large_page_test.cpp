// A million stamps make pages under 3 MB: what is drawn is binned, or chosen by a rule that the page states.
#include "firstedge/amplitude/amplitude.hpp"
#include "firstedge/browse/survey.hpp"
#include "firstedge/jitter/jitter.hpp"
#include "firstedge/report/report.hpp"

#include "support/simulated_stamps.hpp"
#include "support/temporary_folder.hpp"

#include <numeric>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr std::size_t largest_page = 3'000'000;

std::vector<Stamp> a_million_stamps() {
  std::vector<Stamp> stamps = test::normal_stamps({20e-12, 30e-12}, 500'000, 9);
  for (std::size_t at = 0; at < stamps.size(); at += 1000) stamps[at].flags = Flag::clipped;
  return stamps;
}

TEST(large_page, jitter_and_spectra_of_a_million_stamps_stay_under_three_megabytes) {
  const std::vector<Stamp> stamps = a_million_stamps();
  JitterStamps timed({"near", "far"}, {"template_fit"});
  timed.add(stamps);
  JitterOptions options;
  options.bootstrap.resamples = 20;  // the page has their intervals, not the resamples
  const std::string jitter = to_page(analyse_jitter(std::move(timed), options));
  EXPECT_LT(jitter.size(), largest_page);
  EXPECT_THAT(jitter, testing::HasSubstr("499000"));  // pairs used: one record in 500 has a flag
  AmplitudePulses pulses({"near", "far"});
  pulses.add(stamps);
  EXPECT_LT(to_page(analyse_amplitude(pulses, {})).size(), largest_page);
}

TEST(large_page, of_a_million_stamps_every_one_is_binned_or_counted_and_600_at_most_are_chosen) {
  const test::TemporaryFolder folder;
  const std::vector<Stamp> stamps = a_million_stamps();
  StampTableHead head;
  head.channels = {{.name = "near"}, {.name = "far"}};
  head.methods = {{.name = "template_fit"}};
  StampTableWriter writer(folder / "stamps.h5", head);
  writer.write(stamps);
  writer.finish();
  const Survey survey = survey_table(folder / "stamps.h5", {});
  EXPECT_EQ(survey.pairs, 500'000U);
  for (const ChannelSurvey& channel : survey.channels) {
    EXPECT_EQ(channel.pulses, 500'000U);
    EXPECT_EQ(
        std::accumulate(channel.heights.counts.begin(), channel.heights.counts.end(), std::uint64_t{0}) +
            channel.heights.outside,
        500'000U);
  }
  EXPECT_EQ(survey.channels[0].flagged, 1000U);
  const std::size_t chosen = taken_by_turns(shortlists_of(survey), 600).size();
  EXPECT_LE(chosen, 600U);
  EXPECT_GT(chosen, 300U);
}

}  // namespace
}  // namespace firstedge
