#include "firstedge/delay/through.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/delay/padded.hpp"
#include "firstedge/delay/stated.hpp"
#include "firstedge/stats/jackknife.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// A mean trace, or a model of one, as the timing methods take it.
ConditionedTrace as_conditioned(const MeanTrace& mean, std::vector<double> volts) {
  ConditionedTrace trace;
  trace.volts = std::move(volts);
  trace.interval_s = mean.interval_s();
  trace.first_sample_s = mean.head.first_sample_s;
  trace.baseline_rms_v = mean.head.noise.rms_v();
  trace.baseline_v = {0, 0};
  return trace;
}

// The time of the highest pulse by a method; NaN without one.
double time_s(const TimingMethod& method, const ConditionedTrace& trace, const NoiseModel& noise,
              const SearchOptions& search) {
  const std::vector<Pulse> pulses = find_pulses(trace, noise, 0, search);
  const auto highest = std::max_element(
      pulses.begin(), pulses.end(), [](const Pulse& a, const Pulse& b) { return a.height_v < b.height_v; });
  if (highest == pulses.end()) return nan;
  const std::vector<Stamp> stamps = method.time_pulses(trace, std::span(&*highest, 1));
  return stamps.empty() ? nan : stamps.front().time_s;
}

std::vector<double> blurred(const std::vector<double>& volts, double deviation_samples) {
  const std::size_t size = padded_size(2 * volts.size());
  std::vector<std::complex<double>> lines = padded_fft(volts, size);
  for (std::size_t k = 0; k < lines.size(); ++k) {
    const double w = 2 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(size);
    lines[k] *= std::exp(-0.5 * w * w * deviation_samples * deviation_samples);
  }
  std::vector<double> result = inverse_fft(std::move(lines), size);
  result.resize(volts.size());
  return result;
}

// What must be known of the means to say what any way reads behind the fitted line.
struct Reading {
  EchoFit fit;
  CorrelationDelay correlation;
  double correlation_correction_s = 0;
  std::vector<double> corrections_s;  // of the methods
  std::vector<double> blur_s;         // their change by blurring once more
  double bulk_delay_s() const { return fit.model.echoes[0].delay_s; }
};

// The line's answer to the mean pulse before, without a baseline.
MeanTrace model_after(const PairOfMeans& means, const EchoFit& fit) {
  MeanTrace model = means.after;
  model.volts = fit.model_v;
  for (double& volts : model.volts) volts -= fit.model.baseline_v;
  return model;
}

double method_delay_s(const ThroughData& data, const ThroughMethod& method, const PairOfMeans& means,
                      const MeanTrace& model, double blur_samples) {
  const auto conditioned = [&](const MeanTrace& mean) {
    return as_conditioned(mean, blur_samples > 0 ? blurred(mean.volts, blur_samples) : mean.volts);
  };
  return time_s(method.after, conditioned(model), model.head.noise, data.after_search) -
         time_s(method.before, conditioned(means.before), means.before.head.noise, data.before_search);
}

EchoData whole(const PairOfMeans& means) {
  return {means.before, means.after, {0, means.after.size()}};
}

Reading reading_of(const ThroughData& data, const PairOfMeans& means, const EchoModel& start) {
  Reading reading{.fit = fit_echoes(whole(means), start),
                  .correlation = correlation_delay(means.before, means.after)};
  const MeanTrace model = model_after(means, reading.fit);
  reading.correlation_correction_s =
      correlation_delay(means.before, model).delay_s.value - reading.bulk_delay_s();
  const double blur_samples = data.blur_s / means.before.interval_s();
  for (const ThroughMethod& method : data.methods) {
    const double once = method_delay_s(data, method, means, model, 0) - reading.bulk_delay_s();
    const double change = blur_samples > 0 ? method_delay_s(data, method, means, model, blur_samples) -
                                                 reading.bulk_delay_s() - once
                                           : 0;
    reading.corrections_s.push_back(once - change);
    reading.blur_s.push_back(change);
  }
  return reading;
}

// Mean difference of the stamps over all records but those of a group.
Estimate mean_difference(const ThroughMethod& method, std::size_t without) {
  std::vector<double> kept;
  for (std::size_t i = 0; i < method.difference_s.size(); ++i) {
    if (i % most_groups != without && std::isfinite(method.difference_s[i]))
      kept.push_back(method.difference_s[i]);
  }
  if (kept.empty()) return {nan, nan};
  Estimate mean = moments(kept).mean;
  mean.degrees_of_freedom = static_cast<double>(kept.size()) - 1;
  return mean;
}

// All figures that get an uncertainty by leaving groups out, in this order.
std::vector<double> figures_of(const ThroughData& data, const Reading& reading, std::size_t without) {
  std::vector<double> figures{
      reading.bulk_delay_s(),           reading.fit.model.loss_constant,
      reading.fit.model.echoes[0].gain, reading.correlation.delay_s.value,
      reading.correlation_correction_s, reading.correlation.delay_s.value - reading.correlation_correction_s};
  for (std::size_t m = 0; m < data.methods.size(); ++m) {
    figures.push_back(reading.corrections_s[m]);
    figures.push_back(mean_difference(data.methods[m], without).value - reading.corrections_s[m]);
  }
  return figures;
}

void check(const ThroughData& data) {
  const std::string& name = data.average.before().head().name;
  if (data.average.before().records() == 0)
    throw Error(fmt::format("channel '{}'", name), "has no record with a usable pulse in both channels",
                "look at the run with firstedge-inspect");
}

}  // namespace

ThroughDelay through_delay(const ThroughData& data) {
  check(data);
  ThroughDelay found;
  found.means = data.average.means();
  const Reading reading = reading_of(data, found.means, first_guess(whole(found.means)));
  constexpr double least_gain = 5;  // in its own standard uncertainties
  const Estimate gain = reading.fit.gain(0);
  if (!reading.fit.converged || !(std::abs(gain.value) > least_gain * gain.uncertainty))
    throw Error(
        fmt::format("channels '{}' and '{}'", found.means.before.head.name, found.means.after.head.name),
        "show no pulse that the second has of the first", "check which channel is before and which is after");
  found.fit = reading.fit;
  const std::size_t groups = data.average.before().groups();
  const std::vector<double> moved = jackknife(groups, [&](std::size_t without) {
    return groups < fewest_jackknife_groups
               ? figures_of(data, reading, most_groups)
               : figures_of(data, reading_of(data, data.average.means_without(without), reading.fit.model),
                            without);
  });
  const std::vector<double> all = figures_of(data, reading, most_groups);
  const auto jackknifed = [&](std::size_t i) {
    return Estimate{all[i], moved[i], static_cast<double>(groups) - 1};
  };

  found.bulk_delay_s = stated(reading.fit.delay_s(0), reading.fit.misfit, moved[0]);
  found.loss_constant = stated(reading.fit.loss_constant(), reading.fit.misfit, moved[1]);
  found.gain = stated(reading.fit.gain(0), reading.fit.misfit, moved[2]);
  found.correlation = reading.correlation;
  found.correlation.delay_s = stated(reading.correlation.delay_s, 1, moved[3]);
  found.ways.push_back({std::string(correlation_way), found.correlation.delay_s, jackknifed(4), jackknifed(5),
                        data.average.before().records()});
  for (std::size_t m = 0; m < data.methods.size(); ++m) {
    const ThroughMethod& method = data.methods[m];
    WayOfReading way{method.name, mean_difference(method, most_groups), jackknifed(6 + 2 * m),
                     jackknifed(7 + 2 * m), 0};
    for (Estimate* estimate : {&way.correction_s, &way.corrected_s})
      estimate->uncertainty = std::hypot(estimate->uncertainty, 0.5 * reading.blur_s[m]);
    way.used = static_cast<std::size_t>(std::count_if(method.difference_s.begin(), method.difference_s.end(),
                                                      [](double value) { return std::isfinite(value); }));
    found.ways.push_back(std::move(way));
  }
  found.bands = transfer_bands(data.average, reading.correlation.delay_s.value);
  return found;
}

}  // namespace firstedge
