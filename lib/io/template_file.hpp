// Pulse templates as files: HDF5 layout "firstedge templates 1", one group a channel.
#pragma once

#include "firstedge/core/pulse_template.hpp"

#include <filesystem>
#include <vector>

namespace firstedge {

/// Writes all templates into one file, whole or not at all.
void write_templates(const std::filesystem::path& file, const std::vector<PulseTemplate>& templates);

/// Reads them back, bit for bit. Error if the file is not a template file or a shape is empty, huge or not
/// finite.
std::vector<PulseTemplate> read_templates(const std::filesystem::path& file);

}  // namespace firstedge
