#include "firstedge/core/digest.hpp"

#include "firstedge/core/error.hpp"

#include <array>
#include <fstream>
#include <memory>
#include <vector>

#include <fmt/format.h>
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
    std::string text;
    for (const unsigned char byte : std::span(sum).first(size)) text += fmt::format("{:02x}", byte);
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

std::string sha256_of_file(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  if (!stream)
    throw Error(file.string(), "cannot be opened for reading", "check the name and the permissions");
  Digest sum(EVP_sha256());
  std::vector<char> block(1U << 20U);
  while (stream.read(block.data(), static_cast<std::streamsize>(block.size())) || stream.gcount() > 0) {
    sum.add(block.data(), static_cast<std::size_t>(stream.gcount()));
  }
  if (stream.bad())
    throw Error(file.string(), "cannot be read to its end", "check the disk and the permissions");
  return sum.hexadecimal();
}

}  // namespace firstedge
