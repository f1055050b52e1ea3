// Records from HDF5 files: our own layout, and any other by a mapping in the Setup.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/io/record_reader.hpp"

#include <cstddef>
#include <filesystem>
#include <memory>
#include <span>
#include <vector>

namespace firstedge {

/// True if the first bytes of a file (2056 at least, or all of it) have HDF5's signature where the format
/// allows it: at 0, 512, 1024 or 2048 (HDF5 File Format Specification 3.0, II.A).
bool starts_as_hdf5(std::span<const std::byte> head);

/// Opens a run of HDF5 files, one after the other, or grouped by "pattern" (io/file_pattern.hpp).
///
/// The Setup's input group (io/hdf5_mapping.hpp; examples in docs/file-layouts.md) says which datasets are
/// the channels, what their axes mean and where the scale and the trigger times stand. Without it, files in
/// the layout "firstedge records 1" say all that themselves; in others, what is unambiguous is guessed and
/// told. Files of a run may differ in channels and lengths: a channel that a file or a record lacks is an
/// empty Trace and is counted.
///
/// Counts are byte-exact; big-endian samples are turned, integers of 32 bits without sign and of 64 bits are
/// handed over as the equal double (a trace with a count beyond 2^53 is left out). A damaged or never written
/// block of samples takes its own records out of its channel; the others are kept. A record whose trigger
/// time is unusable is kept without one, and that is a problem in the account.
///
/// Memory: about 8 MiB of samples at a time, or one chunk (at most 64 MiB, then in parts), and 64 MiB of
/// decoded chunks a dataset. Nothing in a file makes us read another one: external links, external storage
/// and virtual datasets are refused, as are filters other than shuffle, deflate and Fletcher's checksum.
/// What is left to the HDF5 library is the file's structure; the one in Debian 12 (1.10.8) has known faults
/// there, so do not feed it files of people who mean harm.
///
/// Throws Error for settings that do not fit, and if no file can be read.
std::unique_ptr<RecordReader> open_hdf5(const std::vector<std::filesystem::path>& files,
                                        const Settings& input);

}  // namespace firstedge
