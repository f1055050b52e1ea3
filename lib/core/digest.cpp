#include "firstedge/core/digest.hpp"

#include "firstedge/core/error.hpp"

#include <array>
#include <fstream>
#include <memory>
#include <string_view>

#include <openssl/evp.h>

namespace firstedge {
namespace {

class Digest {
 public:
  explicit Digest(const EVP_MD* kind) : context_(EVP_MD_CTX_new(), &EVP_MD_CTX_free) {
    EVP_DigestInit_ex(context_.get(), kind, nullptr);
  }
  void add(const void* bytes, std::size_t size) { EVP_DigestUpdate(context_.get(), bytes, size); }
  std::string hexadecimal() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> sum{};
    unsigned int size = 0;
    EVP_DigestFinal_ex(context_.get(), sum.data(), &size);
    static constexpr std::string_view digits = "0123456789abcdef";
    std::string text;
    for (const unsigned char byte : std::span(sum).first(size)) {
      text += digits[byte >> 4U];
      text += digits[byte & 15U];
    }
    return text;
  }

 private:
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context_;
};

std::string digest_of(std::span<const std::byte> bytes, const EVP_MD* kind) {
  Digest sum(kind);
  sum.add(bytes.data(), bytes.size());
  return sum.hexadecimal();
}

}  // namespace

std::string sha256(std::span<const std::byte> bytes) {
  return digest_of(bytes, EVP_sha256());
}

std::string sha1(std::span<const std::byte> bytes) {
  return digest_of(bytes, EVP_sha1());
}

std::string sha256_of_file(const std::filesystem::path& file, const std::function<bool()>& goes_on) {
  constexpr std::streamsize block_bytes = std::streamsize{1} << 16U;  // stays in the nearest cache
  std::ifstream stream(file, std::ios::binary);
  if (!stream)
    throw Error(file.string(), "cannot be opened for reading", "check the name and the permissions");
  Digest sum(EVP_sha256());
  const auto block = std::make_unique_for_overwrite<char[]>(block_bytes);
  while (!goes_on || goes_on()) {
    stream.read(block.get(), block_bytes);
    if (stream.gcount() == 0) break;
    sum.add(block.get(), static_cast<std::size_t>(stream.gcount()));
  }
  if (stream.bad())
    throw Error(file.string(), "cannot be read to its end", "check the disk and the permissions");
  return stream.eof() ? sum.hexadecimal() : "";
}

}  // namespace firstedge
