#include "firstedge/io/input_digests.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/file_pattern.hpp"

namespace firstedge {

std::vector<Provenance::Input> input_digests(const std::vector<std::filesystem::path>& files) {
  std::vector<Provenance::Input> inputs;
  for (const auto& file : expand_folders(files)) {
    const std::uint64_t bytes = ByteSource::from_file(file).size();  // refuses what is no file
    inputs.push_back({.name = file.filename().string(), .bytes = bytes, .sha256 = sha256_of_file(file)});
  }
  return inputs;
}

}  // namespace firstedge
