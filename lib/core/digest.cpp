#include "firstedge/core/digest.hpp"

#include "firstedge/core/open_file.hpp"

#include <array>
#include <cstdint>
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

// EVP_sha256() looks its method up anew for every digest; a fetched one is kept.
const EVP_MD* kept_sha256() {
  static const std::unique_ptr<EVP_MD, decltype(&EVP_MD_free)> fetched(
      EVP_MD_fetch(nullptr, "SHA256", nullptr), &EVP_MD_free);
  return fetched ? fetched.get() : EVP_sha256();
}

std::string digest_of(std::span<const std::byte> bytes, const EVP_MD* kind) {
  Digest sum(kind);
  sum.add(bytes.data(), bytes.size());
  return sum.hexadecimal();
}

}  // namespace

std::string sha256(std::span<const std::byte> bytes) {
  return digest_of(bytes, kept_sha256());
}

std::string sha1(std::span<const std::byte> bytes) {
  return digest_of(bytes, EVP_sha1());
}

std::string sha256_of_file(const std::filesystem::path& file, const std::function<bool()>& goes_on) {
  constexpr std::size_t block_bytes = std::size_t{1} << 16U;  // stays in the nearest cache
  const OpenFile opened(file);
  Digest sum(kept_sha256());
  const auto block = std::make_unique_for_overwrite<std::byte[]>(block_bytes);
  for (std::uint64_t done = 0; !goes_on || goes_on();) {
    const std::size_t some = opened.read(done, {block.get(), block_bytes});
    sum.add(block.get(), some);
    if (some < block_bytes) return sum.hexadecimal();
    done += some;
  }
  return "";
}

}  // namespace firstedge
