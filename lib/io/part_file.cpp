#include "firstedge/io/part_file.hpp"

#include "firstedge/core/error.hpp"

#include <cerrno>
#include <fstream>
#include <system_error>
#include <utility>

namespace firstedge {

PartFile::PartFile(std::filesystem::path name) : name_(std::move(name)), part_(name_) {
  part_ += ".part";
  errno = 0;
  const std::ofstream file(part_, std::ios::binary | std::ios::trunc);
  if (!file) {
    const std::string reason = std::generic_category().message(errno);
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
