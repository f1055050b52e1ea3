// What every propagation asks of its inputs. For the files of lib/stats alone.
#pragma once

#include "firstedge/stats/propagation.hpp"

#include <cstddef>

namespace firstedge {

/// Throws Error as propagate() says, functions apart.
void check_inputs(const InputQuantities& inputs);

/// Correlation coefficient of inputs i and j; 1 for i = j.
double correlation_of(const InputQuantities& inputs, std::size_t i, std::size_t j);

/// Whether any two different inputs have a correlation other than 0.
bool any_correlated(const InputQuantities& inputs);

}  // namespace firstedge
