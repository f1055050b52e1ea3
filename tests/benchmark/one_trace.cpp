// The reference of single calls from Python: the same calls in C++ on one trace of volts, in processor time.
// Usage: one_trace VOLTS TEMPLATES, a file of float64 samples and one of pulse templates; prints a line "name
// microseconds" a call, each the least of several turns.
#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/io/template_file.hpp"
#include "firstedge/signal/filter.hpp"
#include "firstedge/signal/noise.hpp"
#include "firstedge/signal/pulse_measures.hpp"

#include <algorithm>
#include <cstdio>
#include <fstream>
#include <functional>
#include <limits>
#include <memory>

#include <time.h>

namespace {

using namespace firstedge;

constexpr double interval_s = 0.2e-9, noise_v = 1e-3;

std::vector<double> volts_in(const char* file) {
  std::ifstream bytes(file, std::ios::binary | std::ios::ate);
  std::vector<double> all(static_cast<std::size_t>(bytes.tellg()) / sizeof(double));
  bytes.seekg(0);
  bytes.read(reinterpret_cast<char*>(all.data()), static_cast<std::streamsize>(all.size() * sizeof(double)));
  return all;
}

double thread_time_s() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

void measure(const char* name, const std::function<std::size_t()>& call) {
  constexpr int turns = 60, calls = 300;
  double least_s = std::numeric_limits<double>::infinity();
  std::size_t sum = 0;
  for (int turn = 0; turn < turns; ++turn) {
    const double start_s = thread_time_s();
    for (int i = 0; i < calls; ++i) sum += call();
    least_s = std::min(least_s, (thread_time_s() - start_s) / calls);
  }
  if (sum > 0) std::printf("%s %.4f\n", name, least_s * 1e6);
}

ChannelTimer timer_of(const char* method, const std::vector<PulseTemplate>& templates) {
  LearntChannel channel{
      .name = "channel", .interval_s = interval_s, .noise = white_noise(noise_v, interval_s)};
  Settings settings("method");
  settings.set("method", method);
  channel.timing = {settings};
  channel.pulse_template = std::make_shared<const PulseTemplate>(templates.front());
  return {channel, 0, {0}};
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  const std::vector<double> volts = volts_in(argv[1]);
  const std::vector<PulseTemplate> templates = read_templates(argv[2]);
  const Trace trace{.counts = std::span(volts), .interval_s = interval_s};
  for (const char* method : {"constant_fraction", "leading_edge", "delayed_fraction", "template_fit"}) {
    const ChannelTimer timer = timer_of(method, templates);
    measure(method, [&] { return timer.stamps(trace, 0).size(); });
  }
  const Conditioner conditioner({}, interval_s);
  measure("condition", [&] { return conditioner(trace).volts.size(); });
  const Filter filter({.kind = FilterOptions::Kind::butterworth, .order = 4, .high_hz = 400e6}, interval_s);
  measure("filter", [&] { return filter(volts).volts.size(); });
  measure("welch", [&] { return welch(volts, interval_s, 64).frequency_hz.size(); });
  measure("measure_pulse", [&] { return measure_pulse(volts, interval_s).amplitude_v > 0 ? 1U : 0U; });
  return 0;
}
