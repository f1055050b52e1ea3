// Frequency content and pedestals of a run: what the amplitude analysis needs beside the stamps, taken from
// the records.
#pragma once

#include "firstedge/amplitude/amplitude.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include <cstdint>
#include <filesystem>
#include <vector>

namespace firstedge {

struct RunSpectra {
  std::vector<ChannelSpectra> spectra;
  std::vector<Pedestal> pedestals;
  ReadingAccount account;
};

/// Looks at the first most_records records with the Setup's conditioning and pulse search.
///
/// Signal: the stretch around the first pulse of a trace, unclipped and alone, its start at three eighths of
/// the stretch; noise: a stretch of the same length that ends before the pulse. Both Hann-windowed and
/// averaged over the traces. Pick-up lines are looked for in all
/// that is quiet before the pulses (NoiseAverage), where they stand out more sharply. The length is the
/// largest power of two that fits before the first pulse met, at most 1,024 samples. Pedestal: the sample in
/// the middle of the noise stretch as a height, and the integral over a gate as long as the pulse beside it
/// as a charge, both with the sign of that pulse. A channel whose pulses start before 32 samples have passed
/// has neither. Throws Error as learn_channels does.
RunSpectra spectra_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                          std::uint64_t most_records = 4000);

}  // namespace firstedge
