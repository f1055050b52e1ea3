// The files of a text run in turn, some of them opened and begun ahead by all threads.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/io/text_options.hpp"
#include "firstedge/io/text_records.hpp"

#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <memory>
#include <optional>
#include <variant>
#include <vector>

namespace firstedge {

/// A file whose first record has been taken from its stream.
struct BegunTextFile {
  TextRecordStream stream;
  std::optional<TextRecord> first;
  std::uint64_t fingerprint = 0;  ///< of IdenticalFiles
};

/// Hands the files over one after the other; each is what open_text_records and next() make of it, whatever
/// the number of threads. At most 64 files and some 8 MiB of them are begun ahead, or one larger file.
class TextFilesAhead {
 public:
  /// dialect: the hint of open_text_records.
  TextFilesAhead(std::vector<std::filesystem::path> files, const TextOptions& options,
                 std::optional<TextDialect> dialect);

  /// The next file. Throws Error where it cannot be opened; the one behind it comes at the next call. To be
  /// called once a file.
  BegunTextFile next();

 private:
  using Opened = std::variant<ByteSource, Error>;
  using Begun = std::variant<BegunTextFile, Error>;

  void open_some();
  void begin_some();
  Begun begun(Opened opened) const;

  std::vector<std::filesystem::path> files_;
  TextOptions options_;
  std::optional<TextDialect> dialect_;
  std::size_t next_ = 0;  // of files_, to be opened
  std::deque<Opened> opened_;
  std::deque<Begun> begun_;
  std::shared_ptr<const TextLayout> layout_;  // of a file before
};

}  // namespace firstedge
