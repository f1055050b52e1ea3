// Claims of the small words of core: flags, estimates, units, settings, traces, errors, digests.
#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/core/trace.hpp"
#include "firstedge/core/units.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::string sentence_of(const std::function<void()>& call) {
  try {
    call();
  } catch (const Error& error) {
    return error.what();
  }
  return "";
}

TEST(flags, every_bit_stands_once_in_the_table_and_prints_by_name) {
  std::uint32_t seen = 0;
  for (const FlagWords& row : flag_table) {
    EXPECT_EQ(seen & static_cast<std::uint32_t>(row.flag), 0U) << row.name;
    seen |= static_cast<std::uint32_t>(row.flag);
    EXPECT_EQ(to_text(FlagSet(row.flag)), row.name);
  }
  EXPECT_EQ(to_text(Flag::clipped | Flag::poor_fit), "clipped+poor_fit");
  EXPECT_EQ(to_text(FlagSet()), "");
  EXPECT_EQ(to_text(FlagSet::from_bits(1U << 31U)), "bit31");
}

TEST(estimate, prints_two_digits_of_uncertainty_and_the_value_to_the_same_place) {
  // JCGM 100:2008, 7.2.6: uncertainty to at most two digits, the value rounded to agree with it.
  EXPECT_EQ(format_estimate({.value = 1.23456e-10, .uncertainty = 1.7e-12}, "s"), "(123.5 ± 1.7) ps");
  EXPECT_EQ(format_estimate({.value = 100.02147, .uncertainty = 0.00035}, "V"), "(100.02147 ± 0.00035) V");
  EXPECT_EQ(format_estimate({.value = 6e-13, .uncertainty = 9.96e-12}, "s"), "(1 ± 10) ps");
  EXPECT_EQ(format_estimate({.value = 0.0, .uncertainty = 2e-12}, "s"), "(0.0 ± 2.0) ps");
  EXPECT_EQ(format_estimate({.value = 3.0, .uncertainty = -1}, "V"), "3 V");
  EXPECT_EQ(format_quantity(1.234e-10, "s"), "123.4 ps");
  EXPECT_EQ(format_quantity(std::nan(""), "s"), "-");
  EXPECT_EQ(format_quantity(12, "%"), "12 %");
  EXPECT_EQ(format_estimate({.value = 4561, .uncertainty = 123}, "s"), "(4560 ± 120) s");
  // Nothing is told by zeros after the point: the prefixes go down to atto (SI Brochure, 9th edition, table
  // 7).
  EXPECT_EQ(format_estimate({.value = 1.533e-18, .uncertainty = 0.077e-18}, "s"), "(1.533 ± 0.077) as");
  EXPECT_EQ(format_quantity(0.9284e-15, "s"), "0.9284 fs");
}

TEST(estimate, a_unit_that_takes_no_prefix_gets_a_power_of_ten_and_a_count_is_printed_in_full) {
  EXPECT_EQ(format_estimate({.value = 3.2e-15, .uncertainty = 1.2e-16}, "V^2/Hz"),
            "(3.20 ± 0.12) × 10⁻¹⁵ V²/Hz");
  EXPECT_EQ(format_estimate({.value = 1.5e-5, .uncertainty = 2e-6}, ""), "(1.50 ± 0.20) × 10⁻⁵");
  EXPECT_EQ(format_estimate({.value = 0.6834, .uncertainty = 0.0021}, ""), "(0.6834 ± 0.0021)");
  EXPECT_EQ(format_quantity(1234567, ""), "1234567");
  EXPECT_EQ(format_quantity(1234567, "pulses"), "1234567 pulses");
  EXPECT_EQ(format_quantity(3600, "s"), "3600 s");
  EXPECT_EQ(format_quantity(5e10, "V/s"), "50 GV/s");
}

TEST(units, a_prefix_stands_only_where_it_is_not_raised_and_powers_are_printed_raised) {
  for (const char* unit : {"s", "V", "V s", "V/s", "Hz", "ohm"}) EXPECT_TRUE(takes_prefix(unit)) << unit;
  for (const char* unit : {"", "%", "dB", "V^2/Hz", "1/s", "counts", "sigma", "s^2"})
    EXPECT_FALSE(takes_prefix(unit)) << unit;
  EXPECT_EQ(unit_symbol("V^2/Hz"), "V²/Hz");
  EXPECT_EQ(unit_symbol("s^-1"), "s⁻¹");
  EXPECT_EQ(unit_symbol("ohm"), "Ω");
  EXPECT_EQ(unit_symbol("V/sqrt(Hz)"), "V/√Hz");
  EXPECT_EQ(unit_symbol("^"), "^");
  EXPECT_EQ(power_of_ten(-15), "10⁻¹⁵");
}

TEST(units, quantities_are_read_as_people_write_them) {
  EXPECT_DOUBLE_EQ(parse_quantity("0.8 ns", "s").value(), 0.8e-9);
  EXPECT_DOUBLE_EQ(parse_quantity("-20mV", "V").value(), -0.02);
  EXPECT_DOUBLE_EQ(parse_quantity("400 MHz", "Hz").value(), 4e8);
  EXPECT_DOUBLE_EQ(parse_quantity("1e-9", "s").value(), 1e-9);
  EXPECT_DOUBLE_EQ(parse_quantity("3 µs", "s").value(), 3e-6);
  EXPECT_DOUBLE_EQ(parse_quantity("50 Ω", "ohm").value(), 50);
  for (const char* text : {"", "ns", "1 V", "1 ns x", "1,5 ns", "nan", "inf s", "0x10 s", "1 Xs"}) {
    EXPECT_FALSE(parse_quantity(text, "s").has_value()) << text;
  }
}

TEST(settings, a_name_nobody_asked_for_is_refused_with_the_names_that_are_known) {
  Settings settings("bench.json, baseline");
  settings.set("methd", "mean");
  settings.text("method", "mean");
  EXPECT_EQ(sentence_of([&] { settings.finish(); }),
            "bench.json, baseline/methd: is not a name known here; the names known are method");
}

TEST(settings, a_value_of_the_wrong_kind_is_refused_with_its_place) {
  Settings settings("setup");
  settings.set("threshold", "20 ns");
  settings.set("method", "men");
  EXPECT_EQ(sentence_of([&] { settings.quantity("threshold", "V", 0); }),
            "setup/threshold: is the text '20 ns', not a quantity in V; write it like \"20 mV\"");
  EXPECT_EQ(sentence_of([&] {
              settings.choice("method", "mean", {"mean", "median"});
            }),
            "setup/method: is 'men'; choose one of mean, median");
}

TEST(settings, own_values_stand_over_the_defaults) {
  Settings own("own"), defaults("defaults");
  own.set("a", 1.0);
  defaults.set("a", 2.0);
  defaults.set("b", 3.0);
  const Settings merged = own.over(defaults);
  EXPECT_EQ(merged.number("a", 0), 1.0);
  EXPECT_EQ(merged.number("b", 0), 3.0);
}

TEST(trace, volts_are_the_counts_with_their_scale_for_every_sample_type) {
  const auto check = [](auto zero) {
    const std::array<decltype(zero), 3> counts{0, 1, 100};
    const Trace trace{.counts = std::span<const decltype(zero)>(counts),
                      .interval_s = 1e-9,
                      .volts_per_count = 0.5,
                      .offset_v = -1};
    EXPECT_THAT(volts(trace), testing::ElementsAre(-1.0, -0.5, 49.0));
  };
  check(std::int8_t{});
  check(std::uint8_t{});
  check(std::int16_t{});
  check(std::uint16_t{});
  check(std::int32_t{});
  check(float{});
  check(double{});
}

TEST(trace, clipped_runs_are_found_on_the_counts_and_nan_is_never_good) {
  const std::array<float, 7> counts{0, 127, 127, 5, -128, std::numeric_limits<float>::quiet_NaN(), 1};
  Trace trace{.counts = std::span<const float>(counts), .interval_s = 1e-9};
  EXPECT_THAT(clipped_ranges(trace), testing::ElementsAre(SampleRange{5, 6}));
  trace.lowest_count = -128;
  trace.highest_count = 127;
  EXPECT_THAT(clipped_ranges(trace), testing::ElementsAre(SampleRange{1, 3}, SampleRange{4, 6}));
  EXPECT_TRUE(clipped_ranges(Trace{}).empty());
}

TEST(error, is_one_printable_sentence_whatever_stood_in_the_file) {
  const Error error("run.csv, line 2", std::string("'\x1b[31m\n<script>' is not a number"), "");
  EXPECT_STREQ(error.what(), "run.csv, line 2: '?[31m?<script>' is not a number");
  EXPECT_LT(std::string(Error("a", std::string(100000, 'x'), "b").what()).size(), 500U);
}

TEST(digest, sha256_equals_the_standard_s_example) {
  // FIPS 180-4 example "abc", NIST "SHA256.pdf" of the cryptographic examples.
  const std::array<std::byte, 3> abc{std::byte{'a'}, std::byte{'b'}, std::byte{'c'}};
  EXPECT_EQ(sha256(abc), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

TEST(digest, sha1_equals_the_standard_s_example) {
  // FIPS 180-4 example "abc", NIST "SHA1.pdf" of the cryptographic examples.
  const std::array<std::byte, 3> abc{std::byte{'a'}, std::byte{'b'}, std::byte{'c'}};
  EXPECT_EQ(sha1(abc), "a9993e364706816aba3e25717850c26c9cd0d89d");
}

}  // namespace
}  // namespace firstedge
