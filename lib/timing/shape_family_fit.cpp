#include "firstedge/timing/shape_family_fit.hpp"

#include "firstedge/timing/shape_columns.hpp"
#include "firstedge/timing/template_stamp.hpp"
#include "firstedge/timing/template_trace.hpp"

#include <cmath>
#include <optional>
#include <utility>

namespace firstedge {
namespace {

// The variance of the time of the reference instant (samples^2), its weights of the samples, and of the
// height.
struct Reference {
  double variance = 0;
  double height_variance = 0;
  std::vector<double> weights;
};

// By the derivatives of the instant with time, height and the products of height and coefficient.
Reference reference_of(const FittedShape& fitted, const std::vector<double>& per_coefficient_samples) {
  const std::size_t count = fitted.coefficients.size();
  std::vector<double> gradient{1, 0};
  for (std::size_t c = 0; c < count; ++c) {
    const double per_product = per_coefficient_samples[c] / fitted.height_v;
    gradient[1] -= fitted.coefficients[c] * per_product;
    gradient.push_back(per_product);
  }
  Reference found{.height_variance = fitted.covariance[1][1], .weights = {}};
  found.weights.resize(fitted.sample_weights.front().size());
  for (std::size_t i = 0; i < gradient.size(); ++i) {
    for (std::size_t j = 0; j < gradient.size(); ++j)
      found.variance += gradient[i] * fitted.covariance[i][j] * gradient[j];
    for (std::size_t n = 0; n < found.weights.size(); ++n)
      found.weights[n] += gradient[i] * fitted.sample_weights[i][n];
  }
  return found;
}

}  // namespace

struct ShapeFamilyFit::Weights {
  Weights(const ShapeFamily& family, const NoiseModel& noise, const TemplateFitOptions& options)
      : mean(family.mean, noise, options),
        parts(template_weights(family.mean, noise, options)),
        shape(family),
        columns(shape, parts.columns) {}

  TemplateFit mean;
  TemplateWeights parts;
  FamilyShape shape;
  ShapeColumns columns;

  // First with free coefficients; those that the samples do not tell to within the population's spread of 1
  // are then taken from it.
  std::optional<FittedShape> fitted(const PulseSamples& samples, double start, double height_v) const {
    std::vector<double> population(columns.components(), INFINITY);
    std::optional<FittedShape> found = fit_shape(columns, samples, start, height_v, population);
    bool unknown = !found;
    for (std::size_t c = 0; c < population.size(); ++c) {
      if (found && found->covariance[2 + c][2 + c] <= found->height_v * found->height_v) continue;
      population[c] = 1;
      unknown = true;
    }
    if (unknown) found = fit_shape(columns, samples, start, height_v, population);
    if (!found) return found;
    // A free coefficient says by its own size how far from the others its pulse is.
    for (std::size_t c = 0; c < population.size(); ++c) {
      if (std::isfinite(population[c])) continue;
      const double noise2 = found->covariance[2 + c][2 + c] / (found->height_v * found->height_v);
      found->chi_square += found->coefficients[c] * found->coefficients[c] / (1 + noise2);
      ++found->degrees_of_freedom;
    }
    return found;
  }

  // A fitted pulse as the template fit has it, its time that of its own reference instant.
  std::optional<FittedPulse> as_pulse(const FittedShape& fitted) const {
    const FamilyShape::Instants instants = shape.instants(fitted.coefficients);
    if (!std::isfinite(instants.reference_s)) return std::nullopt;
    const double interval = parts.columns.interval_s();
    std::vector<double> per_coefficient;
    for (const double seconds : instants.reference_per_coefficient_s)
      per_coefficient.push_back(seconds / interval);
    const Reference reference = reference_of(fitted, per_coefficient);
    const double height = fitted.height_v;
    FittedPulse pulse{.time_samples = fitted.time_samples + instants.reference_s / interval,
                      .height_v = height * instants.peak,
                      .level_v = fitted.level_v,
                      .explained = height * height / reference.height_variance,
                      .information = 1 / reference.variance,
                      .heights2_v2 = height * height,
                      .chi_square = fitted.chi_square,
                      .degrees_of_freedom = fitted.degrees_of_freedom,
                      .shares = {},
                      .clipped = fitted.clipped,
                      .cut_before = fitted.cut_before,
                      .cut_after = fitted.cut_after};
    pulse.shares = shares_of(reference, fitted);
    return pulse;
  }

 private:
  TimeShares shares_of(const Reference& reference, const FittedShape& fitted) const {
    const std::vector<double> uncertainty = parts.columns.sampled(fitted.time_samples).uncertainty;
    double squares = 0;
    double doubtful = 0;
    double sum = 0;
    // A window that is cut before its first sample has fewer weights than the template samples.
    const std::size_t cut = fitted.cut_before ? uncertainty.size() - reference.weights.size() : 0;
    for (std::size_t n = 0; n < reference.weights.size(); ++n) {
      const double square = reference.weights[n] * reference.weights[n];
      squares += square;
      sum += reference.weights[n];
      if (n + cut < uncertainty.size()) doubtful += square * std::pow(uncertainty[n + cut], 2);
    }
    TimeShares shares;
    shares.of_extra_noise = squares / reference.variance;
    shares.of_template = squares > 0 ? doubtful / squares / parts.columns.variance_v2() : 0;
    shares.level_samples = sum * fitted.height_v;
    return shares;
  }
};

ShapeFamilyFit::ShapeFamilyFit(const ShapeFamily& family, const NoiseModel& noise,
                               const TemplateFitOptions& options) {
  TemplateFitOptions plain = options;
  plain.find_hidden_pulses = false;  // what differs from the mean shape is no second pulse here
  weights_ = std::make_shared<const Weights>(family, noise, plain);
}

Stamp ShapeFamilyFit::operator()(const ConditionedTrace& trace, const Pulse& pulse) const {
  return (*this)(trace, std::span(&pulse, 1)).front();
}

std::vector<Stamp> ShapeFamilyFit::operator()(const ConditionedTrace& trace,
                                              std::span<const Pulse> pulses) const {
  const TemplateStamps judge(weights_->parts, trace);
  const TemplateTrace view(weights_->parts.columns, trace);
  std::vector<Stamp> stamps = weights_->mean(trace, pulses);
  for (std::size_t p = 0; p < stamps.size(); ++p) {
    Stamp& stamp = stamps[p];
    if (stamp.flags.has_any(Flag::not_timed | Flag::piled_up)) continue;
    const double start = (stamp.time_s - trace.first_sample_s) / trace.interval_s;
    const PulseSamples samples = view.samples_around(stamp.polarity, start, start, trace.volts.size());
    const auto fitted = weights_->fitted(samples, start, stamp.height_v);
    const auto own = fitted ? weights_->as_pulse(*fitted) : std::nullopt;
    if (!own) continue;
    const FlagSet edge = own->cut_before || own->cut_after ? FlagSet(Flag::edge_of_record) : FlagSet();
    stamp = judge.timed(judge.untimed(pulses[p], p > 0 ? pulses[p - 1].region.last : 0), *own);
    stamp.flags |= edge;
  }
  return stamps;
}

}  // namespace firstedge
