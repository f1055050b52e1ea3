// Methods and amplifier compared on the bench set of the Skerry test line, held against its plan and truth.
#include "firstedge/io/stamp_table.hpp"

#include "support/program.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace firstedge::test {
namespace {

const std::string data = std::string(FIRSTEDGE_SOURCE_DIR) + "/sample_data/";

class comparing_job : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    outcomes_.push_back(run_program(words_with("full", {"--cuts", "1.5", "--thresholds", "0.1,0.3"})));
    for (const char* threads : {"1", "3"})
      outcomes_.push_back(
          run_program(words_with(threads, {"--threads", threads, "--records", "300", "--cuts", "1.5"})));
  }
  static void TearDownTestSuite() { folder_.reset(); }

  static std::vector<std::string> words_with(const std::string& name, const std::vector<std::string>& more) {
    std::vector<std::string> words{app("compare"), data + "bench.h5",
                                   "--setup",      data + "bench.setup.json",
                                   "--bare",       "bare",
                                   "--amplified",  "amplified",
                                   "--json",       at(name + ".json"),
                                   "--page",       at(name + ".html")};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  }
  static std::string at(const std::string& name) { return (*folder_ / name).string(); }
  static nlohmann::json result() { return nlohmann::json::parse(text_of(at("full.json"))); }
  static double value(const std::string& key) { return result()["figures"][key]["value"]; }
  static double uncertainty(const std::string& key) { return result()["figures"][key]["uncertainty"]; }

  static inline std::unique_ptr<TemporaryFolder> folder_;
  static inline std::vector<Outcome> outcomes_;
};

TEST_F(comparing_job, succeeds_quietly_and_the_threads_change_nothing) {
  for (const Outcome& outcome : outcomes_) {
    EXPECT_EQ(outcome.status, 0) << outcome.err;
    EXPECT_TRUE(outcome.err.empty()) << outcome.err;
  }
  nlohmann::json one = nlohmann::json::parse(text_of(at("1.json"))),
                 three = nlohmann::json::parse(text_of(at("3.json")));
  one.erase("provenance");
  three.erase("provenance");
  EXPECT_TRUE(one == three);
  EXPECT_EQ(text_of(at("full.html")).find("src=\"http"), std::string::npos);
}

// What the records say is true of this pair: the difference of the first true pulses of a record.
std::vector<double> true_differences() {
  StampTableReader table(data + "bench.truth.h5");
  std::map<std::uint64_t, std::map<int, double>> times;
  for (const Stamp& stamp : table.next_block(100000)) {
    if (stamp.flags.empty() && stamp.pulse == 0) times[stamp.record][stamp.channel] = stamp.time_s;
  }
  std::vector<double> differences;
  for (const auto& [record, of] : times) {
    if (of.size() == 2) differences.push_back(of.at(1) - of.at(0));
  }
  std::sort(differences.begin(), differences.end());
  return differences;
}

TEST_F(comparing_job, the_added_delay_is_the_true_one) {
  const std::vector<double> truth = true_differences();
  ASSERT_GT(truth.size(), 1000U);
  // The median of the records' own truth, with 4 standard errors of the noise; the records of the two medians
  // differ by some clipped and piled-up ones, which hardly moves the median.
  EXPECT_NEAR(value("added_delay"), truth[truth.size() / 2], 4 * uncertainty("added_delay"));
}

TEST_F(comparing_job, gain_noise_and_band_are_the_planned_ones) {
  // sample_data/bench.plan.json: most probable heights 260 mV and 9 mV, widths in the same ratio.
  EXPECT_NEAR(value("gain"), 260.0 / 9, 4 * uncertainty("gain"));
  // Noise by the plan: white, band, and the rms of the pick-up, in quadrature; the baseline's own uncertainty
  // over 480 samples and the binning to counts add less than 2 %.
  EXPECT_NEAR(value("bare_noise"), std::hypot(0.25e-3, 0.15e-3, 0.2e-3 / std::sqrt(2.0)),
              4 * uncertainty("bare_noise") + 0.02 * 0.32e-3);
  EXPECT_NEAR(value("amplified_noise"),
              std::hypot(std::hypot(1.2e-3, 4.0e-3), 1.0e-3, 1.0e-3 / std::sqrt(2.0)),
              4 * uncertainty("amplified_noise") + 0.02 * 4.4e-3);
  // Gaussian responses of 400 MHz and 1 GHz: their ratio has its -3 dB point at (1/400^2 - 1/1000^2)^(-1/2)
  // (derived). A bin of the spectra is 39 MHz wide.
  EXPECT_NEAR(value("band_by_spectra"), 436.4e6, 39e6);
}

TEST_F(comparing_job, the_rest_is_the_sensors_own_spread) {
  // 25 ps each, by the plan.
  EXPECT_NEAR(value("rest"), 25e-12, 4 * uncertainty("rest"));
}

TEST_F(comparing_job, the_leading_edge_is_beaten_by_all_others_and_by_itself_without_its_walk) {
  const auto walks = [](const std::string& contender) {
    return contender == "leading_edge" || contender == "leading_edge, filtered";
  };
  const nlohmann::json rows = result()["tables"]["differences"]["rows"];
  std::size_t beaten = 0;
  bool by_itself = false;
  for (const auto& row : rows) {
    const std::string better = row[0], other = row[1];
    if (!walks(other) || walks(better)) continue;
    EXPECT_EQ(row[2], "beats it") << row;
    ++beaten;
    by_itself = by_itself || better == "leading_edge, walk by height";
  }
  EXPECT_GE(beaten, 8U);
  EXPECT_TRUE(by_itself);
}

TEST_F(comparing_job, saturation_begins_at_the_digitizers_limit) {
  // 0.9 V below the baseline of -3 mV is the lowest count: 897 mV (plan: full scale 1 V, offset -400 mV); the
  // baseline wanders by 1 mV and clipped pulses reach the limit less the noise of 4.4 mV.
  EXPECT_NEAR(value("saturates_above") * value("gain"), 0.897, 4 * 4.4e-3);
  EXPECT_GT(value("amplified_clipped"), value("bare_clipped"));
}

TEST_F(comparing_job, wrong_channels_and_lonely_options_get_one_sentence) {
  const std::vector<std::vector<std::string>> wrong{
      {"--bare", "bare"},  {"--bare", "bare", "--amplified", "third"},
      {"--pair", "bare"},  {"--pair", "bare,bare"},
      {"--allow", "ugly"}, {"--fractions", "1.5"}};
  for (std::vector<std::string> words : wrong) {
    words.insert(words.begin(), {app("compare"), data + "bench.h5", "--setup", data + "bench.setup.json",
                                 "--records", "200", "--without-template", "--cuts", "1"});
    const Outcome outcome = run_program(words);
    EXPECT_EQ(outcome.status, 2) << words.back();
    EXPECT_EQ(std::count(outcome.err.begin(), outcome.err.end(), '\n'), 1) << outcome.err;
  }
}

}  // namespace
}  // namespace firstedge::test
