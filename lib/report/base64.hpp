// Base64: bytes as letters of a page.
#pragma once

#include <cstddef>
#include <span>
#include <string>

namespace firstedge {

/// Standard base64 with padding (RFC 4648, section 4).
std::string base64(std::span<const std::byte> bytes);

}  // namespace firstedge
