// Which files a result was made from, for its provenance.
#pragma once

#include "firstedge/core/result.hpp"

#include <filesystem>
#include <vector>

namespace firstedge {

/// Name (without folders), size and SHA-256 of each file, a folder standing for the files in it
/// (file_pattern.hpp). Throws Error for what is no file or cannot be read.
std::vector<Provenance::Input> input_digests(const std::vector<std::filesystem::path>& files);

}  // namespace firstedge
