// SHA-256 digests of inputs, for provenance and to find byte-identical files.
#pragma once

#include <cstddef>
#include <filesystem>
#include <span>
#include <string>

namespace firstedge {

/// Lower-case hexadecimal SHA-256 (FIPS 180-4) of the bytes.
std::string sha256(std::span<const std::byte> bytes);

/// The same of a file's content, read by blocks. Throws Error if it cannot be read.
std::string sha256_of_file(const std::filesystem::path& file);

}  // namespace firstedge
