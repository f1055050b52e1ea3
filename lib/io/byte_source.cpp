#include "firstedge/io/byte_source.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/open_file.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

namespace firstedge {
namespace {

// Looked at before it is opened: opening a device can do things, and opening a pipe can wait for ever.
std::uint64_t size_of_regular(const std::filesystem::path& file) {
  struct stat status {};
  if (::stat(file.c_str(), &status) != 0) refuse_to_open(file, errno);
  if (S_ISDIR(status.st_mode)) throw Error(file.string(), "is a folder", "name a file");
  if (!S_ISREG(status.st_mode))
    throw Error(file.string(), "is a pipe or a device", "save its content as a file first");
  return static_cast<std::uint64_t>(status.st_size);
}

}  // namespace

ByteSource::ByteSource() = default;
ByteSource::ByteSource(ByteSource&&) noexcept = default;
ByteSource& ByteSource::operator=(ByteSource&&) noexcept = default;
ByteSource::~ByteSource() = default;

ByteSource ByteSource::from_file(const std::filesystem::path& file) {
  ByteSource source;
  source.name_ = file.string();
  source.path_ = file;
  source.size_ = size_of_regular(file);
  source.open_file_ = std::make_unique<OpenFile>(file);
  return source;
}

ByteSource ByteSource::from_bytes(std::vector<std::byte> bytes, std::string name) {
  ByteSource source;
  source.name_ = std::move(name);
  source.size_ = bytes.size();
  source.bytes_ = std::move(bytes);
  return source;
}

std::vector<std::byte> ByteSource::read(std::uint64_t offset, std::size_t count) const {
  if (offset > size_ || count > size_ - offset) {
    throw Error(fmt::format("{}, byte {}", name_, offset),
                fmt::format("{} bytes were to be read, but the file has {}", count, size_),
                "check that it is whole");
  }
  if (path_.empty()) {
    const std::byte* first = bytes_.data() + offset;
    return {first, first + count};
  }
  if (!open_file_) open_file_ = std::make_unique<OpenFile>(path_);
  std::vector<std::byte> bytes(count);
  const std::size_t got = open_file_->read(offset, bytes);
  if (got < count) {
    throw Error(fmt::format("{}, byte {}", name_, offset + got), "the file became shorter while it was read",
                "read it again when nothing writes to it");
  }
  return bytes;
}

std::vector<std::byte> ByteSource::head(std::size_t most) const {
  return read(0, static_cast<std::size_t>(std::min<std::uint64_t>(most, size_)));
}

void ByteSource::put_down() const {
  open_file_.reset();
}

std::uint64_t readable_size(const std::filesystem::path& file) {
  const std::uint64_t size = size_of_regular(file);
  if (::access(file.c_str(), R_OK) != 0) refuse_to_open(file, errno);
  return size;
}

bool looks_like_text(std::span<const std::byte> head) {
  const auto byte_at = [&](std::size_t i) { return std::to_integer<unsigned>(head[i]); };
  if (head.size() >= 2 &&
      ((byte_at(0) == 0xff && byte_at(1) == 0xfe) || (byte_at(0) == 0xfe && byte_at(1) == 0xff))) {
    return true;
  }
  // Counted without a branch, so that the loop is done by vectors.
  std::size_t control = 0, nul = 0;
  for (const std::byte one : head) {
    const auto byte = std::to_integer<unsigned char>(one);
    const bool white = byte >= 0x09 && byte <= 0x0d;
    nul += static_cast<std::size_t>(byte == 0);
    control += static_cast<std::size_t>((byte < 0x20 && !white) || byte == 0x7f);
  }
  return nul == 0 && !head.empty() && 100 * control <= head.size();
}

std::string read_text_file(const std::filesystem::path& file, std::size_t most_bytes) {
  const ByteSource source = ByteSource::from_file(file);
  if (source.size() > most_bytes) {
    throw Error(source.name(), fmt::format("{} bytes of text", source.size()),
                fmt::format("give at most {} bytes", most_bytes));
  }
  const std::vector<std::byte> bytes = source.head(most_bytes);
  std::string text(bytes.size(), '\0');
  if (!bytes.empty()) std::memcpy(text.data(), bytes.data(), bytes.size());
  return text;
}

}  // namespace firstedge
