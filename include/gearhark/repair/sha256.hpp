// SHA-256 (FIPS 180-4): says later whether a recording is still the one that was judged.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

#include "gearhark/units/result.hpp"

namespace gearhark {

class Sha256 {
 public:
  void add(std::string_view bytes);
  // 64 lower-case hexadecimal digits. Ends the message: use it once.
  [[nodiscard]] std::string hex();

 private:
  void block(const unsigned char* bytes);
  std::array<std::uint32_t, 8> state_{0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                      0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  std::array<unsigned char, 64> pending_{};
  std::uint64_t length_ = 0;  // bytes
};

std::string sha256(std::string_view bytes);

struct FileHash {
  std::string sha256;
  std::uint64_t bytes = 0;
};
// Streams the file. Error: it can't be read.
Result<FileHash> file_hash(const std::string& path);

}  // namespace gearhark
