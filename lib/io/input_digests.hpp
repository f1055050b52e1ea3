// Digests of input files, for provenance.
#pragma once

#include "firstedge/core/result.hpp"

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

namespace firstedge {

/// Name, size and SHA-256 of each file, folders opened up; several files at a time. Throws Error where one
/// cannot be read.
std::vector<Provenance::Input> input_digests(const std::vector<std::filesystem::path>& files);

/// The same beside the work on these files, by a thread that has nothing else to do.
class InputDigests {
 public:
  /// Begins. Throws Error where one is no file or cannot be opened.
  explicit InputDigests(const std::vector<std::filesystem::path>& files);
  /// Gives up what is not known yet.
  ~InputDigests();
  InputDigests(const InputDigests&) = delete;
  InputDigests& operator=(const InputDigests&) = delete;

  /// Names and sizes, with digests of 64 zeros: as long as those that are to come.
  const std::vector<Provenance::Input>& names() const;
  /// A digest of names, sizes and times of the last change of content or inode (st_mtim, st_ctim) as they
  /// were at the beginning; what a file system calls unchanged has the same.
  const std::string& state() const;
  /// True while the files are in that state.
  bool are_unchanged() const;

  /// True once wait() has nothing to wait for.
  bool are_known() const;
  /// Waits. Throws Error where a file could not be read.
  const std::vector<Provenance::Input>& wait();

 private:
  struct Work;
  std::unique_ptr<Work> work_;
};

}  // namespace firstedge
