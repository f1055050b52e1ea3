// Transforms of traces with zeros behind them, so that nothing goes round.
#pragma once

#include "firstedge/signal/fft.hpp"

#include <algorithm>
#include <bit>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// The power of two from least on.
inline std::size_t padded_size(std::size_t least) {
  return std::bit_ceil(least);
}

/// Lines of values followed by zeros, size samples in all (size at least that of values).
inline std::vector<std::complex<double>> padded_fft(std::span<const double> values, std::size_t size) {
  std::vector<double> padded(size, 0.0);
  std::copy(values.begin(), values.end(), padded.begin());
  return forward_fft(padded);
}

}  // namespace firstedge
