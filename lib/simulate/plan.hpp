// The plan of a simulated run: what stands on the bench, in the Setup's kind of JSON.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/simulate/line.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace firstedge {

/// The current pulse of a sensor and what it passes on its way to the digitizer. Everything is linear, so the
/// shape is one and the height scales it; the height in volts is the peak at the digitizer or, with a line,
/// of the pulse put into the line, so that its loss is seen.
struct ShapePlan {
  double rise_s = 0.2e-9;  ///< time constants of the sensor's current exp(-t/decay) - exp(-t/rise)
  double decay_s = 2e-9;
  double band_hz = 400e6;        ///< -3 dB point of the amplifier and digitizer together, Gaussian response
  double low_cut_hz = 0;         ///< AC coupling: single pole high-pass; 0 for none
  double skin_s = 0;             ///< K^2 of a lossy cable, H = exp(-K sqrt(j w)); 0 for none (s)
  std::optional<LinePlan> line;  ///< a cable with a delay and reflections of its own
};

/// Heights at the digitizer.
struct HeightPlan {
  enum class Kind { fixed, uniform, landau };
  Kind kind = Kind::fixed;
  double height_v = 0.1;  ///< fixed: the height; landau: the most probable one
  double width_v = 0.01;  ///< landau: its scale (4.02 of it is the full width at half maximum)
  double highest_v = 0;   ///< uniform: heights are even between height_v and this
};

/// A sine that gets into the channel from outside. Its phase is free of the trigger but common to all
/// channels.
struct PickUpPlan {
  double frequency_hz = 98e6;
  double amplitude_v = 0.5e-3;
};

struct NoisePlan {
  double white_v = 0;    ///< standard deviation of a sample of white noise
  double band_v = 0;     ///< standard deviation of noise shaped by the channel's band
  double flicker_v = 0;  ///< standard deviation of 1/f noise between one over the record's length and Nyquist
  std::vector<PickUpPlan> pick_up;
};

struct DigitizerPlan {
  int bits = 12;              ///< 0: no digitizer, samples are exact doubles
  double full_scale_v = 1.0;  ///< from the lowest to one above the highest count
  double offset_v = 0;        ///< volts in the middle of the range
  /// Standard deviation of a sample's instant about its place: Gaussian, each sample and channel on its own
  /// (aperture jitter). The analogue waveform (pulses, pick-up, coloured noise) is taken at that instant;
  /// white noise is as likely at any.
  double sampling_jitter_s = 0;
};

struct ChannelPlan {
  std::string name, sensor;
  double delay_s = 0;             ///< after the particle's passage
  double intrinsic_spread_s = 0;  ///< standard deviation of the sensor's own arrival, Gaussian
  int polarity = 1;
  double baseline_v = 0;
  double baseline_spread_v = 0;     ///< from record to record
  double efficiency = 1;            ///< share of particles that give a pulse
  double second_pulse_rate_hz = 0;  ///< of further, unrelated pulses anywhere in the record (pile-up)
  double load_ohm = 50;
  ShapePlan shape;
  HeightPlan heights;
  NoisePlan noise;
  DigitizerPlan digitizer;
};

struct SimulationPlan {
  std::string title;
  std::uint64_t seed = 1;
  std::uint64_t records = 1000;
  std::size_t samples = 500;
  double interval_s = 0.2e-9;
  double first_sample_s = -30e-9;
  std::pair<double, double> passage_s{-0.1e-9,
                                      0.1e-9};  ///< the particle passes evenly spread over this stretch
  std::optional<Instant> start;                 ///< trigger instant of record 0; nothing: records carry none
  double trigger_rate_hz = 100;                 ///< one trigger somewhere in each 1/rate
  std::vector<ChannelPlan> channels;
};

/// Reads a plan. Groups: see sample_data/bench.plan.json for the names in use, and "sampling_jitter" ("2 ps",
/// a quarter of the interval at most) in "digitizer". Throws Error for unknown
/// names, a plan without channels, sizes that make no sense or records of more than 2^24 samples.
SimulationPlan simulation_plan(const Settings& settings);

}  // namespace firstedge
