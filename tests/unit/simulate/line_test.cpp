// Claims of simulated lines: loss, delay and echoes are those of the waves written out by hand.
#include "firstedge/simulate/line.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/skin_line.hpp"
#include "firstedge/simulate/chain_shape.hpp"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using Complex = std::complex<double>;

TEST(line, matched_line_seen_at_its_far_end_is_the_skin_line) {
  const LinePlan plan{.delay_s = 50e-9, .skin_s = 0.4e-9};
  const SkinLine closed{50e-9, std::sqrt(0.4e-9)};
  for (double w = 1e6; w < 1e11; w *= 7) {
    // Rounding of a phase of up to 5,000 rad: 5,000 * 1e-16 * a few.
    EXPECT_LT(std::abs(line_response(plan, w) - closed.transfer(w)), 1e-11) << w;
  }
}

TEST(line, echoes_of_two_mismatches_and_an_open_end_are_the_sum_over_all_ways_of_the_wave) {
  const double r1 = 0.1, r2 = -0.2, end = 1;
  const LinePlan plan{.delay_s = 10e-9,
                      .skin_s = 0.1e-9,
                      .end = LinePlan::End::open,
                      .seen = LinePlan::Seen::near_end,
                      .mismatches = {{0.25, r1}, {0.75, r2}}};
  const double k = std::sqrt(plan.skin_s);
  const SkinLine a{2.5e-9, 0.25 * k}, b{5e-9, 0.5 * k}, c{2.5e-9, 0.25 * k};
  for (double w = 1e7; w < 3e10; w *= 3) {
    const Complex pa = a.transfer(w), pb = b.transfer(w), pc = c.transfer(w);
    // What stands behind mismatch 2, as a sum over round trips in the last piece; then the same behind 1.
    Complex behind2 = r2, trip = (1 - r2 * r2) * end * pc * pc;
    for (int i = 0; i < 200; ++i, trip *= -r2 * end * pc * pc) behind2 += trip;
    Complex behind1 = r1;
    trip = (1 - r1 * r1) * behind2 * pb * pb;
    for (int i = 0; i < 200; ++i, trip *= -r1 * behind2 * pb * pb) behind1 += trip;
    // 0.2^200 and 0.3^200 are left out: rounding alone.
    EXPECT_LT(std::abs(line_response(plan, w) - (1.0 + pa * pa * behind1)), 1e-13) << w;
  }
}

TEST(line, without_loss_the_power_that_goes_through_and_that_comes_back_add_up) {
  LinePlan plan{.delay_s = 10e-9, .mismatches = {{0.2, 0.3}, {0.5, -0.4}, {0.9, 0.1}}};
  // Impedance at the end over that at the start, by the three reflections.
  double ratio = 1;
  for (const MismatchPlan& each : plan.mismatches) ratio *= (1 + each.reflection) / (1 - each.reflection);
  for (double w = 1e7; w < 3e10; w *= 3) {
    plan.seen = LinePlan::Seen::far_end;
    const double through = std::norm(line_response(plan, w)) / ratio;
    plan.seen = LinePlan::Seen::near_end;
    EXPECT_NEAR(through + std::norm(line_response(plan, w) - 1.0), 1, 1e-12) << w;
  }
}

TEST(line, pulse_behind_a_line_is_late_by_the_bulk_delay_and_lower_by_the_loss) {
  ShapePlan plan{.rise_s = 0.2e-9, .decay_s = 2e-9, .band_hz = 400e6};
  const ChainShape before(plan, 0.2e-9);
  plan.line = LinePlan{.delay_s = 30e-9, .skin_s = 0.1e-9};
  const ChainShape after(plan, 0.2e-9);
  EXPECT_GT(after.peak_s() - before.peak_s(), 30e-9);
  EXPECT_LT(after.peak(), 0.95);
  // The same as the loss in the chain with its own normalisation, moved by the delay.
  ShapePlan lossy = plan;
  lossy.line.reset();
  lossy.skin_s = 0.1e-9;
  const ChainShape loss_only(lossy, 0.2e-9);
  for (double t = -1e-9; t < 20e-9; t += 0.31e-9) {
    // Interpolation of both, 1e-7 each, and the ends of the tails, 1e-4 each as lasts_s says.
    EXPECT_NEAR(after(30e-9 + t) / after.peak(), loss_only(t), 2e-4) << t;
  }
}

TEST(line, plans_without_sense_are_refused) {
  const auto refused = [](const char* name, const Settings::Value& value) {
    Settings settings("plan.json, channels/0/shape/line");
    settings.set(name, value);
    EXPECT_THROW(line_plan(settings), Error) << name;
  };
  refused("delay", {-1e-9});
  refused("skin", {std::string("-1 ns")});
  refused("end", {std::string("loose")});
  refused("seen", {std::string("far_end")});
  const auto mismatch = [](double position, double reflection) {
    return Settings::Value{Settings::Group{{"position", {position}}, {"reflection", {reflection}}}};
  };
  refused("mismatches", {Settings::List{mismatch(1.5, 0.1)}});
  refused("mismatches", {Settings::List{mismatch(0.5, 0.95)}});
  refused("mismatches", {Settings::List{mismatch(0.5, 0.1), mismatch(0.4, 0.1)}});
  Settings shorted("plan.json, channels/0/shape/line");
  shorted.set("end", "shorted");
  EXPECT_THROW(line_plan(shorted), Error);
}

}  // namespace
}  // namespace firstedge
