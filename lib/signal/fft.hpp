// Fourier transforms of real samples, over FFTW.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// X_k = sum over n of x_n exp(-2 pi i k n / N), k = 0 ... N/2, shape (N/2 + 1,). An empty input gives an
/// empty output. Accuracy: some 1e-16 * log2(N) of the largest line. Plans are FFTW_ESTIMATE, made under a
/// lock: the same bits on every run on one kind of processor; safe to call from many threads.
std::vector<std::complex<double>> forward_fft(std::span<const double> values);

/// The inverse: size values (its parity says whether the last line is the Nyquist line), divided by size, so
/// that inverse_fft(forward_fft(x), x.size()) == x to rounding. lines has shape (size/2 + 1,) (assert).
std::vector<double> inverse_fft(std::vector<std::complex<double>> lines, std::size_t size);

}  // namespace firstedge
