// Samples that come from NumPy or go to it: one trace or a block of them, with their scale.
#pragma once

#include "firstedge/core/record.hpp"
#include "firstedge/core/trace.hpp"

#include "bindings.hpp"

#include <cstdint>
#include <string>
#include <vector>

#include <pybind11/numpy.h>

namespace firstedge::python {

/// One trace (counts of shape (samples,)) or several of one channel (records, samples). traces look into the
/// memory of `counts`, which Python owns.
///
/// Invariant: the traces have one size, sample interval, volts per count, offset and limits; the time of the
/// first sample may differ from record to record.
struct TraceArray {
  py::array counts;
  std::vector<Trace> traces;
  std::vector<std::uint64_t> records;  ///< by trace: the number of its record

  bool is_block() const { return counts.ndim() == 2; }
  const Trace& first() const { return traces.front(); }
};

/// What stands beside the counts.
struct TraceScale {
  double interval_s = 0;
  double first_sample_s = 0;
  double volts_per_count = 1, offset_v = 0;
  double lowest_count = -std::numeric_limits<double>::infinity();
  double highest_count = std::numeric_limits<double>::infinity();
};

/// The array as traces, without a copy. Throws Error for what is no NumPy array, another type than those of
/// Counts, another shape than (samples,) or (records, samples), no samples, samples that do not stand one
/// behind the other in memory, and a scale without sense. place names the argument.
TraceArray traces_of(const py::object& counts, const TraceScale& scale, const std::string& place);

/// A TraceArray of these traces, all not empty, that keeps `owner` alive: a view where they stand evenly in
/// memory, a copy otherwise. Throws Error where their types, sizes or scales differ.
TraceArray joined(std::vector<Trace> traces, std::vector<std::uint64_t> records, const py::object& owner);

/// work(TraceArray): of a Trace object as it is; of a plain array as volts that begin at 0 s with this
/// interval.
template <class Work>
auto with_traces(const py::object& samples, double interval_s, Work&& work) {
  // Arrays first: that a thing is one is told at a glance, and what type of ours it is by a search.
  if (!py::isinstance<py::array>(samples) && py::isinstance<TraceArray>(samples))
    return work(samples.cast<const TraceArray&>());
  return work(traces_of(samples, {.interval_s = interval_s}, "samples"));
}

/// One-dimensional doubles, contiguous. Throws Error naming place for anything else.
std::span<const double> doubles_of(const py::object& array, const std::string& place);

}  // namespace firstedge::python
