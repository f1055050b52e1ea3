// Claims of a page with a window onto traces: volts come back to the stated rounding, names stay names, the
// policy knows the window's script, and a full browser stays under 3 MB.
#include "firstedge/report/base64.hpp"
#include "firstedge/report/report.hpp"

#include "unit/report/sample_browser.hpp"

#include <array>
#include <cmath>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace firstedge {
namespace {

using testing::HasSubstr;
using testing::Not;

nlohmann::json data_of(const std::string& page) {
  const std::string opening = "<script type=\"application/json\" id=\"traces\">";
  const std::size_t from = page.find(opening) + opening.size();
  return nlohmann::json::parse(page.substr(from, page.find("</script>", from) - from));
}

// By RFC 4648, section 4.
std::string decoded(const std::string& text) {
  const std::string letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string bytes;
  unsigned bits = 0;
  int held = 0;
  for (const char letter : text) {
    if (letter == '=') break;
    bits = bits << 6U | static_cast<unsigned>(letters.find(letter));
    held += 6;
    if (held >= 8) bytes += static_cast<char>(bits >> static_cast<unsigned>(held -= 8) & 0xFFU);
  }
  return bytes;
}

TEST(trace_window, base64_is_that_of_the_standard) {
  // RFC 4648, section 10, test vectors.
  const std::array<std::array<std::string, 2>, 7> vectors{{{"", ""},
                                                           {"f", "Zg=="},
                                                           {"fo", "Zm8="},
                                                           {"foo", "Zm9v"},
                                                           {"foob", "Zm9vYg=="},
                                                           {"fooba", "Zm9vYmE="},
                                                           {"foobar", "Zm9vYmFy"}}};
  for (const auto& [plain, coded] : vectors) EXPECT_EQ(base64(std::as_bytes(std::span(plain))), coded);
}

TEST(trace_window, gives_volts_back_to_half_a_step_and_keeps_what_is_missing) {
  TraceBrowser browser = sample_browser();
  browser.traces[0].volts[7] = std::nan("");
  const nlohmann::json packed = data_of(to_page(browser))["traces"][0]["volts"];
  const std::string bytes = decoded(packed["steps"]);
  const std::vector<double>& volts = browser.traces[0].volts;
  ASSERT_EQ(bytes.size(), 2 * volts.size());
  const double step = packed["step"], low = packed["low"];
  EXPECT_NEAR(step, 0.1 / 65534, 1e-12);  // the trace spans 100 mV
  for (std::size_t i = 0; i < volts.size(); ++i) {
    const unsigned n =
        static_cast<std::uint8_t>(bytes[2 * i]) + 256U * static_cast<std::uint8_t>(bytes[2 * i + 1]);
    if (i == 7) {
      EXPECT_EQ(n, 65535U);
    } else {
      // Half a step, and the 12th digit of low and step.
      EXPECT_NEAR(low + n * step, volts[i], 0.5 * step + 1e-12);
    }
  }
}

TEST(trace_window, knows_times_to_a_femtosecond) {
  TraceBrowser browser = sample_browser();
  browser.traces[0].stamps[0].time_s = 123.456789012e-6;
  const nlohmann::json stamp = data_of(to_page(browser))["traces"][0]["stamps"][0];
  EXPECT_NEAR(stamp["time"].get<double>(), 123.456789012e-6, 1e-15);
  EXPECT_TRUE(data_of(to_page(browser))["traces"][0]["stamps"][1]["time"].is_null());
}

TEST(trace_window, keeps_hostile_names_as_names) {
  const std::string page = to_page(hostile_browser());
  EXPECT_THAT(page, Not(HasSubstr("<img")));
  EXPECT_THAT(page, Not(HasSubstr("<script>document.title")));
  EXPECT_EQ(data_of(page)["channels"][1], "<script>document.title='taken'</script>");
}

TEST(trace_window, stays_out_of_pages_without_traces) {
  EXPECT_THAT(to_page(sample_browser().result), Not(HasSubstr("id=\"traces\"")));
  EXPECT_THAT(to_page(sample_browser()), HasSubstr("id=\"traces\""));
}

TEST(trace_window, is_under_three_megabytes_with_all_that_browse_run_puts_on_a_page) {
  // The limits of BrowseOptions (lib/browse/browse.hpp).
  EXPECT_LT(to_page(large_browser(600, 800'000)).size(), 3'000'000U);
}

}  // namespace
}  // namespace firstedge
