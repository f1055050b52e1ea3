// PartFile: an output file that appears under its name only when it is whole.
#pragma once

#include <filesystem>

namespace firstedge {

/// Stands for "<name>.part" while it is being written; commit() gives it its name (replacing an older file in
/// one step), the destructor removes it if that did not happen.
class PartFile {
 public:
  /// Creates the part file, to be written from its start. Throws Error with the system's reason if that
  /// cannot be done.
  explicit PartFile(std::filesystem::path name);
  ~PartFile();
  PartFile(const PartFile&) = delete;
  PartFile& operator=(const PartFile&) = delete;

  const std::filesystem::path& name() const { return name_; }  ///< under which it will appear
  const std::filesystem::path& part() const { return part_; }  ///< under which it is written

  /// Throws Error if the file cannot be renamed.
  void commit();

 private:
  std::filesystem::path name_, part_;
  bool committed_ = false;
};

}  // namespace firstedge
