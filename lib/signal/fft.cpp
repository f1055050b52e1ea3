#include "firstedge/signal/fft.hpp"

#include <cassert>
#include <map>
#include <mutex>

#include <fftw3.h>

namespace firstedge {
namespace {

// Plans live as long as the program: FFTW's planner is not safe to call from two threads, running a plan on
// other arrays is. FFTW_UNALIGNED makes a plan good for any array.
class Plans {
 public:
  static Plans& shared() {
    static Plans plans;
    return plans;
  }

  fftw_plan forward(std::size_t size) {
    const std::scoped_lock lock(guard_);
    fftw_plan& plan = forward_[size];
    if (plan == nullptr) {
      std::vector<double> values(size);
      std::vector<std::complex<double>> lines(size / 2 + 1);
      plan = fftw_plan_dft_r2c_1d(static_cast<int>(size), values.data(), as_fftw(lines.data()),
                                  FFTW_ESTIMATE | FFTW_UNALIGNED | FFTW_PRESERVE_INPUT);
    }
    return plan;
  }

  fftw_plan inverse(std::size_t size) {
    const std::scoped_lock lock(guard_);
    fftw_plan& plan = inverse_[size];
    if (plan == nullptr) {
      std::vector<double> values(size);
      std::vector<std::complex<double>> lines(size / 2 + 1);
      plan = fftw_plan_dft_c2r_1d(static_cast<int>(size), as_fftw(lines.data()), values.data(),
                                  FFTW_ESTIMATE | FFTW_UNALIGNED | FFTW_DESTROY_INPUT);
    }
    return plan;
  }

  static fftw_complex* as_fftw(std::complex<double>* lines) {
    return reinterpret_cast<fftw_complex*>(lines);  // the layout that both promise
  }

  Plans(const Plans&) = delete;
  Plans& operator=(const Plans&) = delete;

 private:
  Plans() = default;
  ~Plans() {
    for (auto& [size, plan] : forward_) fftw_destroy_plan(plan);
    for (auto& [size, plan] : inverse_) fftw_destroy_plan(plan);
  }

  std::mutex guard_;
  std::map<std::size_t, fftw_plan> forward_, inverse_;
};

}  // namespace

std::vector<std::complex<double>> forward_fft(std::span<const double> values) {
  if (values.empty()) return {};
  std::vector<std::complex<double>> lines(values.size() / 2 + 1);
  // The plan preserves its input: the cast only satisfies FFTW's signature.
  fftw_execute_dft_r2c(Plans::shared().forward(values.size()), const_cast<double*>(values.data()),
                       Plans::as_fftw(lines.data()));
  return lines;
}

std::vector<double> inverse_fft(std::vector<std::complex<double>> lines, std::size_t size) {
  if (size == 0) return {};
  assert(lines.size() == size / 2 + 1);
  std::vector<double> values(size);
  fftw_execute_dft_c2r(Plans::shared().inverse(size), Plans::as_fftw(lines.data()), values.data());
  const double scale = 1 / static_cast<double>(size);
  for (double& value : values) value *= scale;
  return values;
}

}  // namespace firstedge
