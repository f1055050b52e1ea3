// Pulse templates as files: HDF5 layout "firstedge templates 1", one group a channel.
#pragma once

#include "firstedge/core/pulse_template.hpp"

#include <filesystem>
#include <vector>

namespace firstedge {

/// Writes all templates into one file, whole or not at all (docs/file-layouts.md). The same templates give
/// the same bytes. Throws Error for templates that read_templates would refuse, and for a disk that takes no
/// more.
void write_templates(const std::filesystem::path& file, const std::vector<PulseTemplate>& templates);

/// Reads them back, bit for bit. Throws Error if the file is not a template file, holds more than 4096 of
/// them or two for one channel, or one of them has a shape that is empty, longer than 2^24 points or not
/// finite, an uncertainty of another size, an interval that is not positive, or a reference fraction outside
/// (0, 1).
std::vector<PulseTemplate> read_templates(const std::filesystem::path& file);

}  // namespace firstedge
