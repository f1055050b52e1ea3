#include "firstedge/io/text_files_ahead.hpp"

#include "firstedge/core/threads.hpp"
#include "firstedge/io/identical_files.hpp"

#include <algorithm>
#include <utility>

namespace firstedge {
namespace {

constexpr std::size_t most_files_ahead = 64;
constexpr std::uint64_t most_bytes_ahead = std::uint64_t{8} << 20U;

// What make(i) returns or the Error that it throws, for i from 0 to count - 1, by all threads.
template <class Result, class Make>
std::vector<std::optional<Result>> made_or_failed(std::size_t count, Make&& make) {
  return made_by_all_threads(count, [&](std::size_t i) -> std::optional<Result> {
    try {
      return make(i);
    } catch (const Error& error) {
      return error;
    }
  });
}

std::uint64_t size_of(const std::variant<ByteSource, Error>& opened) {
  const auto* source = std::get_if<ByteSource>(&opened);
  return source == nullptr ? 0 : source->size();
}

}  // namespace

TextFilesAhead::TextFilesAhead(std::vector<std::filesystem::path> files, const TextOptions& options,
                               std::optional<TextDialect> dialect)
    : files_(std::move(files)), options_(options), dialect_(dialect) {}

BegunTextFile TextFilesAhead::next() {
  if (begun_.empty()) begin_some();
  Begun first = std::move(begun_.front());
  begun_.pop_front();
  if (auto* error = std::get_if<Error>(&first)) throw *error;
  return std::get<BegunTextFile>(std::move(first));
}

void TextFilesAhead::open_some() {
  const std::size_t count = std::min(most_files_ahead, files_.size() - next_);
  auto opened =
      made_or_failed<Opened>(count, [&](std::size_t i) { return ByteSource::from_file(files_[next_ + i]); });
  next_ += count;
  for (auto& one : opened) opened_.push_back(*std::move(one));
}

void TextFilesAhead::begin_some() {
  if (opened_.empty()) open_some();
  // The first file of all alone, so that the others can have its layout.
  const std::size_t most = layout_ ? opened_.size() : 1;
  std::size_t count = 1;
  std::uint64_t bytes = size_of(opened_.front());
  while (count < most && bytes + size_of(opened_[count]) <= most_bytes_ahead)
    bytes += size_of(opened_[count++]);

  auto begun_now = made_or_failed<Begun>(count, [&](std::size_t i) { return begun(std::move(opened_[i])); });
  opened_.erase(opened_.begin(), opened_.begin() + static_cast<std::ptrdiff_t>(count));
  for (auto& one : begun_now) {
    if (const auto* file = std::get_if<BegunTextFile>(&*one)) layout_ = file->stream.shared_layout();
    begun_.push_back(*std::move(one));
  }
}

TextFilesAhead::Begun TextFilesAhead::begun(Opened opened) const {
  if (auto* error = std::get_if<Error>(&opened)) return std::move(*error);
  TextRecordStream stream =
      open_text_records(std::get<ByteSource>(std::move(opened)), options_, dialect_, layout_);
  const std::uint64_t fingerprint = IdenticalFiles::fingerprint(stream.source().head());
  std::optional<TextRecord> first = stream.next();
  return BegunTextFile{std::move(stream), std::move(first), fingerprint};
}

}  // namespace firstedge
