// Texts from files on their way to Python, which takes UTF-8 alone.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace firstedge::python {

/// The text with each byte that is no part of a UTF-8 character (RFC 3629) as '?'.
std::string readable(std::string text);

/// What each of these exceptions says, readable.
template <class Errors>
std::vector<std::string> sentences_of(const Errors& errors) {
  std::vector<std::string> sentences;
  for (const auto& error : errors) sentences.push_back(readable(error.what()));
  return sentences;
}

}  // namespace firstedge::python
