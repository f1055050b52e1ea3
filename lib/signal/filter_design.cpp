#include "firstedge/signal/filter_design.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/interpolation.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <Eigen/Dense>

namespace firstedge {
namespace {

using Complex = std::complex<double>;
using std::numbers::pi;

std::vector<Complex> butterworth_poles(int order) {
  std::vector<Complex> poles;
  for (int k = 0; k < order; ++k) poles.push_back(std::polar(1.0, pi * (2 * k + order + 1) / (2.0 * order)));
  return poles;
}

/// Roots of the reverse Bessel polynomial sum a_k s^k, a_k = (2n-k)! / (2^(n-k) k! (n-k)!), all at once by
/// the Durand-Kerner iteration, in long double since the coefficients grow to 1e13.
std::vector<Complex> bessel_polynomial_roots(int order) {
  using Long = std::complex<long double>;
  std::vector<long double> coefficients(static_cast<std::size_t>(order) + 1);
  for (int k = 0; k <= order; ++k) {
    coefficients[static_cast<std::size_t>(k)] =
        std::exp(std::lgamma(2.0L * order - k + 1) - std::lgamma(k + 1.0L) - std::lgamma(order - k + 1.0L) -
                 static_cast<long double>(order - k) * std::numbers::ln2_v<long double>);
    coefficients[static_cast<std::size_t>(k)] = std::round(coefficients[static_cast<std::size_t>(k)]);
  }
  const auto value = [&](Long s) {
    Long sum = 0;
    for (std::size_t k = coefficients.size(); k-- > 0;) sum = sum * s + coefficients[k];
    return sum;
  };
  std::vector<Long> roots;
  for (int k = 0; k < order; ++k)
    roots.push_back(std::polar<long double>(order, 2 * std::numbers::pi_v<long double> * (k + 0.3L) / order));
  constexpr int rounds = 500;
  for (int round = 0; round < rounds; ++round) {
    for (std::size_t i = 0; i < roots.size(); ++i) {
      Long others = 1;
      for (std::size_t j = 0; j < roots.size(); ++j) {
        if (j != i) others *= roots[i] - roots[j];
      }
      roots[i] -= value(roots[i]) / others;
    }
  }
  std::vector<Complex> poles;
  for (const Long& root : roots)
    poles.emplace_back(static_cast<double>(root.real()), static_cast<double>(root.imag()));
  return poles;
}

/// |product of -p / (j w - p)|, which is 1 at w = 0.
double prototype_gain(const std::vector<Complex>& poles, double w) {
  Complex gain = 1;
  for (const Complex& pole : poles) gain *= -pole / (Complex(0, w) - pole);
  return std::abs(gain);
}

/// Bessel poles scaled so that the gain at w = 1 is 1/sqrt(2).
std::vector<Complex> bessel_poles(int order) {
  std::vector<Complex> poles = bessel_polynomial_roots(order);
  double low = 0, high = 100;
  for (int i = 0; i < 200; ++i) {
    const double middle = 0.5 * (low + high);
    (prototype_gain(poles, middle) > std::numbers::sqrt2 / 2 ? low : high) = middle;
  }
  for (Complex& pole : poles) pole /= low;
  return poles;
}

/// Poles of the low-pass prototype moved to the band, corners in rad/s of the analogue filter.
std::vector<Complex> to_band(const std::vector<Complex>& poles, FilterOptions::Band band, double low,
                             double high) {
  std::vector<Complex> moved;
  for (const Complex& pole : poles) {
    if (band == FilterOptions::Band::low_pass) moved.push_back(pole * high);
    if (band == FilterOptions::Band::high_pass) moved.push_back(low / pole);
    if (band == FilterOptions::Band::band_pass) {
      const Complex half = 0.5 * pole * (high - low);
      const Complex root = std::sqrt(half * half - low * high);
      moved.push_back(half + root);
      moved.push_back(half - root);
    }
  }
  return moved;
}

/// Sections of poles in the z plane: conjugate pairs, real poles two by two, a last real pole alone.
std::vector<FilterSection> sections_of_poles(const std::vector<Complex>& poles) {
  std::vector<FilterSection> sections;
  std::vector<double> real;
  for (const Complex& pole : poles) {
    constexpr double rounding = 1e-12;
    if (std::abs(pole.imag()) <= rounding) {
      real.push_back(pole.real());
    } else if (pole.imag() > 0) {
      FilterSection section;
      section.a1 = -2 * pole.real();
      section.a2 = std::norm(pole);
      sections.push_back(section);
    }
  }
  std::sort(real.begin(), real.end());
  for (std::size_t i = 0; i < real.size(); i += 2) {
    FilterSection section;
    if (i + 1 < real.size()) {
      section.a1 = -(real[i] + real[i + 1]);
      section.a2 = real[i] * real[i + 1];
    } else {
      section.a1 = -real[i];
    }
    sections.push_back(section);
  }
  return sections;
}

Complex response_of(const FilterSection& section, Complex inverse_z) {
  return (section.b0 + inverse_z * (section.b1 + inverse_z * section.b2)) /
         (1.0 + inverse_z * (section.a1 + inverse_z * section.a2));
}

Complex inverse_z_at(double cycles_per_sample) {
  return std::polar(1.0, -2 * pi * cycles_per_sample);
}

/// Gives each section the zeros of its band, and the gain 1 at the reference frequency.
void set_numerators(std::vector<FilterSection>& sections, FilterOptions::Band band, double reference) {
  for (FilterSection& section : sections) {
    const bool first_order = section.a2 == 0 && band != FilterOptions::Band::band_pass;
    switch (band) {
      case FilterOptions::Band::low_pass:
        section.b1 = first_order ? 1 : 2;
        section.b2 = first_order ? 0 : 1;
        break;
      case FilterOptions::Band::high_pass:
        section.b1 = first_order ? -1 : -2;
        section.b2 = first_order ? 0 : 1;
        break;
      case FilterOptions::Band::band_pass:
        section.b1 = 0;
        section.b2 = -1;
        break;
    }
    const double gain = std::abs(response_of(section, inverse_z_at(reference)));
    section.b0 /= gain;
    section.b1 /= gain;
    section.b2 /= gain;
  }
}

/// sum k c_k w^k / sum c_k w^k for the polynomial c0 + c1 w + c2 w^2.
Complex weighted_mean_power(double c0, double c1, double c2, Complex w) {
  return (c1 * w + 2.0 * c2 * w * w) / (c0 + c1 * w + c2 * w * w);
}

double shape_at(const PulseTemplate& pulse_template, double time_s) {
  const double position = (time_s - pulse_template.first_s) / pulse_template.interval_s;
  if (!(position >= 0) || position > static_cast<double>(pulse_template.shape.size() - 1)) return 0;
  return interpolated(pulse_template.shape, position, Interpolation::cubic);
}

}  // namespace

std::vector<FilterSection> recursive_sections(const FilterOptions& options, double sampling_hz) {
  const auto warped = [&](double frequency_hz) {
    return 2 * sampling_hz * std::tan(pi * frequency_hz / sampling_hz);
  };
  const double low = warped(options.low_hz), high = warped(options.high_hz);
  const std::vector<Complex> prototype = options.kind == FilterOptions::Kind::bessel
                                             ? bessel_poles(options.order)
                                             : butterworth_poles(options.order);
  std::vector<Complex> poles;
  for (const Complex& pole : to_band(prototype, options.band, low, high))
    poles.push_back((2 * sampling_hz + pole) / (2 * sampling_hz - pole));
  std::vector<FilterSection> sections = sections_of_poles(poles);
  double reference = 0;
  if (options.band == FilterOptions::Band::high_pass) reference = 0.5;
  if (options.band == FilterOptions::Band::band_pass)
    reference = std::atan(std::sqrt(low * high) / (2 * sampling_hz)) / pi;
  set_numerators(sections, options.band, reference);
  return sections;
}

FilterSection notch_section(double centre_hz, double quality, double sampling_hz) {
  const double w = 2 * pi * centre_hz / sampling_hz;
  const double gain = 1 / (1 + std::tan(0.5 * w / quality));
  return {.b0 = gain,
          .b1 = -2 * gain * std::cos(w),
          .b2 = gain,
          .a1 = -2 * gain * std::cos(w),
          .a2 = 2 * gain - 1};
}

FilterKernel moving_average_kernel(double width_samples) {
  const double beyond_centre = std::max(0.0, 0.5 * (width_samples - 1));
  const auto reach = static_cast<std::size_t>(std::ceil(beyond_centre));
  FilterKernel kernel{.weights = std::vector<double>(2 * reach + 1, 1 / std::max(width_samples, 1.0)),
                      .origin = reach};
  if (reach > 0) {
    const double covered = beyond_centre - static_cast<double>(reach - 1);
    kernel.weights.front() *= covered;
    kernel.weights.back() *= covered;
  }
  return kernel;
}

FilterKernel gaussian_kernel(double deviation_samples) {
  constexpr double reach_deviations = 6;  // beyond: 2e-9 of the weight
  const auto reach = static_cast<std::size_t>(std::ceil(reach_deviations * deviation_samples));
  FilterKernel kernel{.weights = std::vector<double>(2 * reach + 1), .origin = reach};
  double sum = 0;
  for (std::size_t i = 0; i < kernel.weights.size(); ++i) {
    const double distance = (static_cast<double>(i) - static_cast<double>(reach)) / deviation_samples;
    kernel.weights[i] = std::exp(-0.5 * distance * distance);
    sum += kernel.weights[i];
  }
  for (double& weight : kernel.weights) weight /= sum;
  return kernel;
}

FilterKernel matched_kernel(const PulseTemplate& pulse_template, const NoiseModel& noise, double interval_s) {
  const auto peak = std::max_element(pulse_template.shape.begin(), pulse_template.shape.end());
  const double peak_s = pulse_template.first_s +
                        static_cast<double>(peak - pulse_template.shape.begin()) * pulse_template.interval_s;
  const double last_s = pulse_template.first_s +
                        static_cast<double>(pulse_template.shape.size() - 1) * pulse_template.interval_s;
  constexpr double most_samples = 4096;  // the covariance of so many is a matrix of 128 MiB
  const double before = std::floor((peak_s - pulse_template.first_s) / interval_s);
  const double after = std::floor((last_s - peak_s) / interval_s);
  if (!(before + after + 1 <= most_samples)) {
    throw Error("matched filter", "the pulse template covers more than 4096 samples",
                "use a shorter template");
  }
  FilterKernel kernel{.weights = {}, .origin = static_cast<std::size_t>(before)};
  const auto size = static_cast<Eigen::Index>(before + after) + 1;
  Eigen::VectorXd shape(size);
  Eigen::MatrixXd covariance(size, size);
  for (Eigen::Index i = 0; i < size; ++i) {
    shape(i) = shape_at(pulse_template, peak_s + (static_cast<double>(i) - before) * interval_s);
    for (Eigen::Index j = 0; j < size; ++j)
      covariance(i, j) = noise.covariance_v2(static_cast<std::size_t>(std::abs(i - j)));
  }
  const Eigen::VectorXd weights = covariance.llt().solve(shape);
  const double height = weights.dot(shape);
  if (!(height > 0) || !std::isfinite(height)) {
    throw Error("matched filter", "the noise has no positive definite covariance or the template is flat",
                "learn both from the run again");
  }
  for (Eigen::Index i = 0; i < size; ++i) kernel.weights.push_back(weights(i) / height);
  return kernel;
}

std::complex<double> response(const std::vector<FilterSection>& sections, double cycles_per_sample) {
  Complex product = 1;
  for (const FilterSection& section : sections)
    product *= response_of(section, inverse_z_at(cycles_per_sample));
  return product;
}

std::complex<double> response(const FilterKernel& kernel, double cycles_per_sample) {
  Complex sum = 0;
  for (std::size_t k = 0; k < kernel.weights.size(); ++k) {
    const double offset = static_cast<double>(k) - static_cast<double>(kernel.origin);
    sum += kernel.weights[k] * std::polar(1.0, 2 * pi * cycles_per_sample * offset);
  }
  return sum;
}

double group_delay(const std::vector<FilterSection>& sections, double cycles_per_sample) {
  const Complex w = inverse_z_at(cycles_per_sample);
  double delay = 0;
  for (const FilterSection& section : sections) {
    delay += weighted_mean_power(section.b0, section.b1, section.b2, w).real() -
             weighted_mean_power(1, section.a1, section.a2, w).real();
  }
  return delay;
}

}  // namespace firstedge
