// Opening HDF5 files of unknown origin: no way out of the file, no lengths taken on trust. For the files of
// lib/io alone.
#pragma once

#include "firstedge/io/hdf5_guard.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

class ByteSource;

/// True if the bytes begin with HDF5's signature.
bool has_hdf5_signature(std::span<const std::byte> bytes);

/// True if the signature stands where the format allows it: at 0, 512, 1024, 2048, ... (HDF5 File Format
/// Specification 3.0, II.A).
bool is_hdf5(const ByteSource& bytes);

/// A file opened for reading, and the objects in it by path ("/channels/north"). Links to other files are
/// never followed: where a path meets one, it is refused. Every function takes the guard itself; so does the
/// destructor.
class Hdf5File {
 public:
  /// Throws Error for a file that is not there, not HDF5, cut short, damaged or still being written.
  explicit Hdf5File(std::filesystem::path file);
  ~Hdf5File();
  Hdf5File(const Hdf5File&) = delete;
  Hdf5File& operator=(const Hdf5File&) = delete;

  const std::filesystem::path& path() const { return path_; }
  std::uint64_t bytes() const { return bytes_; }
  /// "run.h5, /channels/north"
  std::string place(const std::string& inside) const { return path_.string() + ", " + inside; }

  /// False if a link on the way is missing. Throws Error if one leads out of the file.
  bool has(const std::string& path) const;
  bool is_dataset(const std::string& path) const;
  /// Throws Error if there is none. The caller holds the guard as long as the object lives.
  H5::DataSet dataset(const std::string& path) const;
  H5::Group group(const std::string& path) const;

  /// Names in a group in the order of their bytes. Throws Error for more than most_links.
  std::vector<std::string> links(const std::string& group) const;
  static constexpr std::size_t most_links = 65536;

  /// Paths of all datasets, hard links alone, depth first; at most `most` of them.
  std::vector<std::string> datasets(std::size_t most) const;

 private:
  void refuse_ways_out(const std::string& path) const;
  hid_t open_object(const std::string& path) const;

  std::filesystem::path path_;
  std::uint64_t bytes_ = 0;
  std::optional<H5::H5File> file_;
};

/// "/a" and "b" -> "/a/b"; "/" and "b" -> "/b".
std::string joined(const std::string& group, const std::string& name);

/// The attributes of an object; place names it in errors. All take the guard themselves.
///
/// Nothing if there is no such attribute; Error if it is there and is not one finite or infinite number.
std::optional<double> number_attribute(const H5::H5Object& object, const std::string& name,
                                       const std::string& place);

/// Texts of fixed length, trailing zeros and (if so declared) spaces cut. Text of variable length is refused:
/// HDF5 1.10 copies it by a length that it takes from the file unchecked (CVE-2024-29157). Error for other
/// types, more texts than `most`, or more than most_text_bytes (16 MiB).
std::optional<std::vector<std::string>> texts_attribute(const H5::H5Object& object, const std::string& name,
                                                        const std::string& place, std::size_t most);
std::optional<std::string> text_attribute(const H5::H5Object& object, const std::string& name,
                                          const std::string& place);
inline constexpr std::size_t most_text_bytes = std::size_t{16} << 20U;

/// A text field of fixed length as it stands in the file, without its padding.
std::string unpadded(const char* bytes, std::size_t size, H5T_str_t padding);

/// Names of an object's attributes, at most `most`.
std::vector<std::string> attribute_names(const H5::H5Object& object, std::size_t most);

}  // namespace firstedge
