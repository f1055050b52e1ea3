// Delay plan: which delay is taken out of which record's stamps; taking delays out and putting them back.
#pragma once

#include "firstedge/chain/chain_delay.hpp"
#include "firstedge/core/applied_delay.hpp"
#include "firstedge/core/stamp.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// When the records were taken.
struct RecordDate {
  std::uint64_t record = 0;
  Instant instant;
};
struct RunDates {
  std::vector<RecordDate> triggers;  ///< in rising order of records; a record without one has that before it
  std::optional<Instant> otherwise;  ///< for runs without triggers
};

/// What is done where no calibration is valid at a record's date, or a channel has no chain.
enum class ExpiredPolicy : std::uint8_t {
  refuse,  ///< throw Error
  flag     ///< use the calibration nearest in time (no chain: no delay), and flag the stamps
};

struct DelayPlan {
  std::vector<AppliedDelay> delays;   ///< by channel, then by record; stretches cover all records
  std::vector<std::string> warnings;  ///< each said once
};

/// The delay of each channel over the run. Throws Error as ExpiredPolicy::refuse says and as chain_delay, and
/// for triggers out of order.
DelayPlan plan_delays(const std::vector<std::string>& channels, const Station& station, const RunDates& dates,
                      ExpiredPolicy policy);

/// The stamps with the delays of their channels and records taken out of time_s; NaN stays NaN. Uncertainties
/// are left as they are: what the delays add is common to all stamps of a channel and stands in the
/// AppliedDelay. Stamps under a doubtful delay get the flag calibration_expired. channels: names by the
/// stamps' numbers.
///
/// Throws Error for a stamp whose channel and record no delay covers.
std::vector<Stamp> with_delays_out(std::span<const Stamp> stamps, const std::vector<std::string>& channels,
                                   std::span<const AppliedDelay> delays);

/// The reverse: times before anything was taken out, and the flag taken away again. The delay put back is the
/// one taken out, bit for bit; the sum rounds, so that a time comes back to within 2^-53 (|time before| +
/// |time after|): below 2e-22 s for times below 1 us. Throws as with_delays_out.
std::vector<Stamp> with_delays_back(std::span<const Stamp> stamps, const std::vector<std::string>& channels,
                                    std::span<const AppliedDelay> delays);

}  // namespace firstedge
