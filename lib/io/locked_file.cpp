#include "firstedge/io/locked_file.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cerrno>
#include <string>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

namespace firstedge {
namespace {

constexpr mode_t readable_by_all = 0644;

void settle_one(const std::filesystem::path& path, int flags) {
  const int descriptor = open(path.c_str(), flags | O_CLOEXEC);
  // A file system that cannot promise it for folders says EINVAL.
  const bool settled = descriptor >= 0 && (fsync(descriptor) == 0 || errno == EINVAL);
  const std::string reason = std::generic_category().message(errno);
  if (descriptor >= 0) close(descriptor);
  if (!settled)
    throw Error(path.string(), fmt::format("cannot be put on the disk ({})", reason), "check the disk");
}

}  // namespace

LockedFile::LockedFile(std::filesystem::path file) : path_(std::move(file)) {
  struct stat opened {
  }, named{};
  do {  // again if the one that was opened has been removed by its last user meanwhile
    if (descriptor_ >= 0) close(descriptor_);
    descriptor_ = open(path_.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, readable_by_all);
    if (descriptor_ < 0) refuse("cannot be opened");
    if (fstat(descriptor_, &opened) != 0 || !S_ISREG(opened.st_mode)) {
      close(descriptor_);
      throw Error(path_.string(), "is no regular file", "move it away");
    }
    // File systems without locks say something else than EWOULDBLOCK: there, it goes without.
    if (flock(descriptor_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      close(descriptor_);
      throw Error(path_.string(), "is in use by another run", "wait for its end, or write another output");
    }
  } while (stat(path_.c_str(), &named) != 0 || named.st_ino != opened.st_ino ||
           named.st_dev != opened.st_dev);
}

LockedFile::~LockedFile() {
  close(descriptor_);
}

std::uint64_t LockedFile::size() const {
  struct stat about {};
  if (fstat(descriptor_, &about) != 0) refuse("cannot be read");
  return static_cast<std::uint64_t>(about.st_size);
}

std::vector<std::byte> LockedFile::read(std::uint64_t offset, std::size_t count) const {
  const std::uint64_t end = size();
  std::vector<std::byte> bytes(std::min<std::uint64_t>(count, end - std::min(offset, end)));
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t part =
        pread(descriptor_, bytes.data() + done, bytes.size() - done, static_cast<off_t>(offset + done));
    if (part < 0 && errno == EINTR) continue;
    if (part < 0) refuse("cannot be read");
    if (part == 0) break;
    done += static_cast<std::size_t>(part);
  }
  bytes.resize(done);
  return bytes;
}

void LockedFile::write(std::uint64_t offset, std::span<const std::byte> bytes) {
  while (!bytes.empty()) {
    const ssize_t part = pwrite(descriptor_, bytes.data(), bytes.size(), static_cast<off_t>(offset));
    if (part < 0 && errno == EINTR) continue;
    if (part <= 0) refuse("cannot be written");
    offset += static_cast<std::uint64_t>(part);
    bytes = bytes.subspan(static_cast<std::size_t>(part));
  }
}

void LockedFile::cut(std::uint64_t size) {
  if (ftruncate(descriptor_, static_cast<off_t>(size)) != 0) refuse("cannot be cut");
}

void LockedFile::settle() {
  if (fdatasync(descriptor_) != 0) refuse("cannot be put on the disk");
}

void LockedFile::refuse(const char* problem) const {
  throw Error(path_.string(), fmt::format("{} ({})", problem, std::generic_category().message(errno)),
              "mend the folder or the disk and give the same command again: what is finished is kept");
}

void settle_on_disk(const std::filesystem::path& file) {
  settle_one(file, O_RDONLY);
  settle_one(file.has_parent_path() ? file.parent_path() : ".", O_RDONLY | O_DIRECTORY);
}

}  // namespace firstedge
