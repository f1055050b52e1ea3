// The main job as the demo does it: the bench set of the Skerry test line through all apps, held against its
// truth.
#include "firstedge/core/digest.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/stamp_table.hpp"

#include "support/program.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace firstedge::test {
namespace {

const std::string data = std::string(FIRSTEDGE_SOURCE_DIR) + "/sample_data/";

class main_job : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    const std::string setup = data + "bench.setup.json";
    outcomes_.push_back(run_program({app("inspect"), data + "bench.h5", "--setup", setup, "--page",
                                     at("inspect.html"), "--json", at("inspect.json")}));
    outcomes_.push_back(run_program({app("stamp"), data + "bench.h5", "--setup", setup, "-o", at("stamps.h5"),
                                     "--page", at("stamps.html"), "--keep-templates", at("templates.h5")}));
    outcomes_.push_back(run_program(
        {app("jitter"), at("stamps.h5"), "--page", at("jitter.html"), "--json", at("jitter.json")}));
    outcomes_.push_back(run_program({app("spectrum"), at("stamps.h5"), "--records", data + "bench.h5",
                                     "--page", at("spectrum.html"), "--json", at("spectrum.json")}));
    outcomes_.push_back(
        run_program({app("jitter"), data + "bench.truth.h5", "--json", at("truth.json"), "--quiet"}));
  }
  static void TearDownTestSuite() { folder_.reset(); }

  static std::string at(const std::string& name) { return (*folder_ / name).string(); }
  static nlohmann::json json(const std::string& name) { return nlohmann::json::parse(text_of(at(name))); }

  static inline std::unique_ptr<TemporaryFolder> folder_;
  static inline std::vector<Outcome> outcomes_;
};

TEST_F(main_job, every_app_succeeds_and_says_nothing_on_standard_error_in_a_pipe) {
  for (const Outcome& outcome : outcomes_) {
    EXPECT_EQ(outcome.status, 0) << outcome.err;
    EXPECT_TRUE(outcome.err.empty()) << outcome.err;
  }
}

// The template fit's times of pulses without flags, less the true time of the nearest true pulse, by record.
std::map<std::uint64_t, double> errors_of(const std::string& table, std::uint16_t channel,
                                          const std::vector<Stamp>& truth) {
  StampTableReader reader(table);
  const auto& methods = reader.head().methods;
  const auto method =
      std::find_if(methods.begin(), methods.end(), [](const auto& m) { return m.name == "template_fit"; });
  std::map<std::uint64_t, double> errors;
  for (std::vector<Stamp> block = reader.next_block(5000); !block.empty(); block = reader.next_block(5000)) {
    for (const Stamp& stamp : block) {
      if (stamp.channel != channel || stamp.method != method - methods.begin() || !stamp.flags.empty())
        continue;
      for (const Stamp& true_stamp : truth) {
        if (true_stamp.record != stamp.record || true_stamp.channel != channel) continue;
        const double error_s = stamp.time_s - true_stamp.time_s;
        if (std::abs(error_s) < 1e-9) errors[stamp.record] = error_s;
      }
    }
  }
  return errors;
}

TEST_F(main_job, the_difference_of_the_two_channels_is_true_by_the_template_fit) {
  StampTableReader truth_table(data + "bench.truth.h5");
  const std::vector<Stamp> truth = truth_table.next_block(100000);
  const auto bare = errors_of(at("stamps.h5"), 0, truth), amplified = errors_of(at("stamps.h5"), 1, truth);
  double sum = 0, squares = 0, count = 0;
  for (const auto& [record, error_s] : bare) {
    const auto other = amplified.find(record);
    if (other == amplified.end()) continue;
    const double difference = error_s - other->second;
    sum += difference;
    squares += difference * difference;
    count += 1;
  }
  ASSERT_GT(count, 1600);
  const double mean = sum / count;
  const double standard_error = std::sqrt((squares / count - mean * mean) / count);
  // And 1 ps for the time zero of either template: some 900 pulses of 10 ps each know it to 0.3 ps.
  EXPECT_LT(std::abs(mean), 3 * standard_error + 1e-12);
}

TEST_F(main_job, the_spread_is_the_true_one_and_the_noise_in_quadrature) {
  const nlohmann::json found = json("jitter.json")["figures"], truth = json("truth.json")["figures"];
  const double sensors = truth["core_width"]["value"], stated = found["stated"]["value"];
  const double width = found["core_width"]["value"], uncertainty = found["core_width"]["uncertainty"];
  EXPECT_NEAR(width, std::hypot(sensors, stated), 4 * uncertainty);
}

TEST_F(main_job, the_most_probable_heights_are_the_planned_ones) {
  const nlohmann::json rows = json("spectrum.json")["tables"]["height_fits"]["rows"];
  ASSERT_EQ(rows.size(), 2U);
  // sample_data/bench.plan.json: 9 mV and 260 mV at the peak of the noiseless pulse; the heights are those of
  // the noisy pulse, biased up by less than a twentieth of the noise of 0.32 and 4.4 mV.
  for (const auto& [row, planned, noise] : {std::tuple{0, 9e-3, 0.32e-3}, {1, 260e-3, 4.4e-3}}) {
    const nlohmann::json most_probable = rows[static_cast<std::size_t>(row)][1];
    const double uncertainty = most_probable["uncertainty"];
    EXPECT_NEAR(most_probable["value"].get<double>(), planned, 4 * uncertainty + noise / 20);
  }
}

TEST_F(main_job, pages_stand_alone_and_tables_are_the_same_on_every_run) {
  for (const char* page : {"inspect.html", "stamps.html", "jitter.html", "spectrum.html"}) {
    const std::string html = text_of(at(page));
    EXPECT_GT(html.size(), 10000U) << page;
    EXPECT_EQ(html.find("src=\"http"), std::string::npos) << page;
  }
  const std::vector<std::string> again{
      app("stamp"),    data + "bench.h5", "--setup",         data + "bench.setup.json", "-o",
      at("stamps.h5"), "--page",          at("stamps.html"), "--keep-templates",        at("templates.h5")};
  const std::string before = sha256_of_file(at("stamps.h5"));
  EXPECT_EQ(run_program(again).status, 0);
  EXPECT_EQ(sha256_of_file(at("stamps.h5")), before);
}

TEST_F(main_job, templates_kept_and_given_again_give_the_same_times) {
  const Outcome outcome = run_program({app("stamp"), data + "bench.h5", "--setup", data + "bench.setup.json",
                                       "-o", at("again.csv"), "--templates", at("templates.h5"), "--quiet"});
  ASSERT_EQ(outcome.status, 0) << outcome.err;
  const Outcome learnt = run_program({app("stamp"), data + "bench.h5", "--setup", data + "bench.setup.json",
                                      "-o", at("learnt.csv"), "--quiet"});
  ASSERT_EQ(learnt.status, 0) << learnt.err;
  const auto rows_of = [](const std::string& text) {  // without the head, which holds the command
    std::string rows;
    for (std::size_t start = 0, end = 0; start < text.size(); start = end + 1) {
      end = std::min(text.find('\n', start), text.size());
      if (text[start] != '#') rows += text.substr(start, end - start + 1);
    }
    return rows;
  };
  const std::string a = rows_of(text_of(at("again.csv"))), b = rows_of(text_of(at("learnt.csv")));
  EXPECT_GT(a.size(), 100000U);
  EXPECT_TRUE(a == b);
}

TEST_F(main_job, the_simulator_makes_the_sample_data_again_count_for_count) {
  const Outcome outcome = run_program({app("simulate"), data + "bench.plan.json", "-o", at("bench.h5"),
                                       "--truth", at("truth.h5"), "--quiet"});
  ASSERT_EQ(outcome.status, 0) << outcome.err;
  const auto kept = open_records({data + "bench.h5"}, Settings()),
             made = open_records({at("bench.h5")}, Settings());
  std::size_t compared = 0;
  for (;;) {
    const RecordBlock a = kept->next_block(256), b = made->next_block(256);
    ASSERT_EQ(a.records.size(), b.records.size());
    if (a.records.empty()) break;
    for (std::size_t i = 0; i < a.records.size(); ++i) {
      ASSERT_EQ(a.records[i].trigger, b.records[i].trigger);
      for (std::size_t c = 0; c < a.records[i].traces.size(); ++c) {
        ASSERT_EQ(volts(a.records[i].traces[c]), volts(b.records[i].traces[c]))
            << "record " << a.records[i].index;
        ++compared;
      }
    }
  }
  EXPECT_EQ(compared, 4000U);
}

}  // namespace
}  // namespace firstedge::test
