#include "firstedge/signal/skin_line.hpp"

#include <cmath>
#include <numbers>

namespace firstedge {
namespace {

constexpr double db_per_neper = 8.685889638065036;             // 20 / ln 10
constexpr double half_step_argument = 0.47693627620446987338;  // erfc of it is 1/2

double angular(double frequency_hz) {
  return 2 * std::numbers::pi * frequency_hz;
}

}  // namespace

std::complex<double> SkinLine::transfer(double angular_frequency) const {
  // sqrt(j w) = (1 + j) sqrt(w/2).
  const double loss = loss_constant * std::sqrt(0.5 * angular_frequency);
  return std::polar(std::exp(-loss), -loss - angular_frequency * delay_s);
}

double SkinLine::step_response(double time_s) const {
  const double after_s = time_s - delay_s;
  return after_s > 0 ? std::erfc(loss_constant / (2 * std::sqrt(after_s))) : 0;
}

double SkinLine::half_time_s() const {
  const double root = loss_constant / (2 * half_step_argument);
  return root * root;
}

double SkinLine::attenuation_db(double frequency_hz) const {
  return db_per_neper * loss_constant * std::sqrt(std::numbers::pi * frequency_hz);
}

double SkinLine::group_delay_s(double frequency_hz) const {
  return delay_s + loss_constant / (2 * std::sqrt(2 * angular(frequency_hz)));
}

double SkinLine::phase_delay_s(double frequency_hz) const {
  return delay_s + loss_constant / std::sqrt(2 * angular(frequency_hz));
}

double loss_constant_of(double attenuation_db, double frequency_hz) {
  return attenuation_db / (db_per_neper * std::sqrt(std::numbers::pi * frequency_hz));
}

}  // namespace firstedge
