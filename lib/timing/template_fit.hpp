// Template fit: height, time and baseline fitted together, weighted by the measured noise covariance.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"

#include <memory>

namespace firstedge {

struct TemplateFitOptions {
  bool fit_baseline = true;
  double poor_fit_probability = 1e-4;  ///< chi-square probability below which poor_fit is flagged
};

/// A template made ready for a channel: the weights of its noise are worked out once. Safe to use from many
/// threads.
class TemplateFit {
 public:
  TemplateFit(std::shared_ptr<const PulseTemplate> pulse_template, const NoiseModel& noise,
              const TemplateFitOptions& options);
  ~TemplateFit();
  TemplateFit(TemplateFit&&) noexcept;
  TemplateFit& operator=(TemplateFit&&) noexcept;

  Stamp operator()(const ConditionedTrace& trace, const Pulse& pulse) const;

 private:
  struct Weights;
  std::shared_ptr<const Weights> weights_;
};

}  // namespace firstedge
