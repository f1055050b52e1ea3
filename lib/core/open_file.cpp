#include "firstedge/core/open_file.hpp"

#include "firstedge/core/error.hpp"

#include <cerrno>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

namespace firstedge {

OpenFile::OpenFile(const std::filesystem::path& file)
    : file_(file), number_(::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)) {
  if (number_ < 0) refuse_to_open(file, errno);
}

OpenFile::~OpenFile() {
  ::close(number_);
}

std::size_t OpenFile::read(std::uint64_t offset, std::span<std::byte> into) const {
  std::size_t done = 0;
  while (done < into.size()) {
    const ssize_t got =
        ::pread(number_, into.data() + done, into.size() - done, static_cast<off_t>(offset + done));
    if (got < 0 && errno == EINTR) continue;
    if (got < 0)
      throw Error(fmt::format("{}, byte {}", file_.string(), offset + done),
                  "cannot be read: " + std::generic_category().message(errno),
                  "read it again when nothing writes to it");
    if (got == 0) break;
    done += static_cast<std::size_t>(got);
  }
  return done;
}

void refuse_to_open(const std::filesystem::path& file, int cause) {
  throw Error(file.string(),
              cause == ENOENT ? "there is no such file"
                              : "cannot be opened: " + std::generic_category().message(cause),
              "check the name and the right to read it");
}

}  // namespace firstedge
