#include "firstedge/io/part_file.hpp"

#include "firstedge/core/error.hpp"

#include <cerrno>
#include <fstream>
#include <string>
#include <system_error>
#include <utility>

namespace firstedge {
namespace {

// Written at once to see that the disk takes anything at all; the writer starts the file anew.
constexpr std::size_t trial_bytes = 4096;

}  // namespace

PartFile::PartFile(std::filesystem::path name) : name_(std::move(name)), part_(name_) {
  part_ += ".part";
  errno = 0;
  std::ofstream file(part_, std::ios::binary | std::ios::trunc);
  file << std::string(trial_bytes, '\0') << std::flush;
  if (!file) {
    const std::string reason = std::generic_category().message(errno);
    std::error_code ignored;
    std::filesystem::remove(part_, ignored);
    throw Error(name_.string(), "cannot be written (" + reason + ")", "check the folder and its permissions");
  }
}

PartFile::~PartFile() {
  std::error_code ignored;
  if (!committed_) std::filesystem::remove(part_, ignored);
}

void PartFile::commit() {
  std::error_code reason;
  std::filesystem::rename(part_, name_, reason);
  if (reason) {
    throw Error(name_.string(), "cannot be given its name (" + reason.message() + ")",
                "check the folder and its permissions");
  }
  committed_ = true;
}

}  // namespace firstedge
