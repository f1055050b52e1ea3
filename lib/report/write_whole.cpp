// Files that appear under their name only when they are whole.
#include "firstedge/core/error.hpp"
#include "firstedge/report/report.hpp"

#include <cerrno>
#include <cstring>
#include <optional>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

namespace firstedge {
namespace {

namespace fs = std::filesystem;

std::string reason(int error) {
  return std::generic_category().message(error);
}

// An open file of ours; closed, and removed unless it was kept.
class OpenFile {
 public:
  OpenFile(fs::path path, int descriptor) : path_(std::move(path)), descriptor_(descriptor) {}
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;
  ~OpenFile() {
    if (descriptor_ >= 0) ::close(descriptor_);
    if (!kept_) ::unlink(path_.c_str());
  }
  int descriptor() const { return descriptor_; }
  const fs::path& path() const { return path_; }
  void keep() { kept_ = true; }
  /// 0 or the error; some file systems tell of a full disk only here.
  int close() {
    const int failed = ::close(descriptor_);
    descriptor_ = -1;
    return failed == 0 ? 0 : errno;
  }

 private:
  fs::path path_;
  int descriptor_;
  bool kept_ = false;
};

// 0, or the error that stopped the writing.
int write_all(int descriptor, std::string_view text) {
  while (!text.empty()) {
    const ssize_t written = ::write(descriptor, text.data(), text.size());
    if (written < 0 && errno != EINTR) return errno;
    if (written > 0) text.remove_prefix(static_cast<std::size_t>(written));
  }
  return 0;
}

// A new file beside the target, readable as the umask says. A name that is taken is left alone.
OpenFile new_file_beside(const fs::path& target) {
  constexpr int tries = 100;
  constexpr mode_t readable = 0666;
  for (int again = 0; again < tries; ++again) {
    fs::path beside = target;
    beside.replace_filename(fmt::format(".{}.{}.{}.part", target.filename().string(), ::getpid(), again));
    const int descriptor = ::open(beside.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, readable);
    if (descriptor >= 0) return {beside, descriptor};
    if (errno != EEXIST) {
      throw Error(target.string(), "cannot be written here (" + reason(errno) + ")",
                  "name a file in a directory that exists and may be written");
    }
  }
  throw Error(target.string(), "has a hundred half-written files beside it",
              "remove the files named .*.part");
}

// A device or a pipe cannot be replaced, only written to.
void write_through(const fs::path& device, std::string_view text) {
  const int descriptor = ::open(device.c_str(), O_WRONLY | O_CLOEXEC);
  const int failed = descriptor < 0 ? errno : write_all(descriptor, text);
  if (descriptor >= 0) ::close(descriptor);
  if (failed != 0) throw Error(device.string(), "could not be written (" + reason(failed) + ")", "");
}

// Makes the new name last through a loss of power. A directory that cannot be synchronised is no error: the
// file is whole in any case.
void synchronise_directory(const fs::path& directory) {
  const int descriptor =
      ::open(directory.empty() ? "." : directory.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return;
  ::fsync(descriptor);
  ::close(descriptor);
}

}  // namespace

void write_whole(const fs::path& file, const std::string& text) {
  if (file.filename().empty()) throw Error(file.string(), "names no file", "name the file to be written");
  std::error_code ignored;
  const fs::path target = fs::is_symlink(file, ignored) ? fs::weakly_canonical(file, ignored) : file;
  if (target.empty()) throw Error(file.string(), "is a link that leads nowhere", "name the file itself");
  struct stat there {};
  const bool exists = ::stat(target.c_str(), &there) == 0;
  if (exists && S_ISDIR(there.st_mode))
    throw Error(file.string(), "is a directory", "name the file to be written in it");
  if (exists && !S_ISREG(there.st_mode)) return write_through(target, text);

  OpenFile part = new_file_beside(target);
  if (exists) ::fchmod(part.descriptor(), there.st_mode & 0777U);
  int failed = write_all(part.descriptor(), text);
  if (failed == 0 && ::fsync(part.descriptor()) != 0) failed = errno;
  if (const int closing = part.close(); failed == 0) failed = closing;
  if (failed == 0 && ::rename(part.path().c_str(), target.c_str()) != 0) failed = errno;
  if (failed != 0)
    throw Error(file.string(), "could not be written (" + reason(failed) + ")", "nothing was left behind");
  part.keep();
  synchronise_directory(target.parent_path());
}

}  // namespace firstedge
