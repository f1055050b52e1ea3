// Digests: SHA-256 of inputs, for provenance and to find byte-identical files; SHA-1 for files that carry
// one.
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <span>
#include <string>

namespace firstedge {

/// Lower-case hexadecimal SHA-256 (FIPS 180-4) of the bytes.
std::string sha256(std::span<const std::byte> bytes);

/// Lower-case hexadecimal SHA-1 (FIPS 180-4) of the bytes: tells damage in files that carry such a sum; says
/// nothing against an adversary.
std::string sha1(std::span<const std::byte> bytes);

/// The same as sha256 of a file's content, read by blocks. `goes_on` is asked before each: "" once it says
/// no. Throws Error if the file cannot be read.
std::string sha256_of_file(const std::filesystem::path& file, const std::function<bool()>& goes_on = {});

}  // namespace firstedge
