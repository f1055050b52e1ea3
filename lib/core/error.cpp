#include "firstedge/core/error.hpp"

namespace firstedge {

std::string printable(const std::string& text, std::size_t limit) {
  std::string clean;
  for (const char c : text.substr(0, limit)) {
    const auto byte = static_cast<unsigned char>(c);
    clean += (byte < 0x20 || byte == 0x7f) ? '?' : c;
  }
  if (text.size() > limit) clean += "...";
  return clean;
}

Error::Error(const std::string& place, const std::string& problem, const std::string& remedy)
    : std::runtime_error(printable(place, 400) + ": " + printable(problem, 400) +
                         (remedy.empty() ? "" : "; " + printable(remedy, 400))),
      place_(place),
      problem_(problem),
      remedy_(remedy) {}

}  // namespace firstedge
