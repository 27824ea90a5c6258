#include "secrets.hpp"

#include <sys/random.h>

#include <array>
#include <stdexcept>

namespace gearhark::workbench {
namespace {

template <std::size_t N>
std::array<unsigned char, N> random_bytes() {
  std::array<unsigned char, N> bytes;
  if (::getrandom(bytes.data(), N, 0) != static_cast<ssize_t>(N))
    throw std::runtime_error("the kernel gave no random numbers");
  return bytes;
}

// A letter of `alphabet`, each as likely: bytes beyond the last whole round are thrown away.
char random_letter(std::string_view alphabet) {
  for (;;) {
    const std::size_t byte = random_bytes<1>()[0];
    if (byte < 256 / alphabet.size() * alphabet.size()) return alphabet[byte % alphabet.size()];
  }
}

}  // namespace

std::string random_token() {
  std::string out;
  for (const unsigned char byte : random_bytes<16>()) {
    out += "0123456789abcdef"[byte >> 4];
    out += "0123456789abcdef"[byte & 15];
  }
  return out;
}

std::string pairing_code() {
  std::string out;
  for (int i = 0; i < 8; ++i) {
    if (i == 4) out += '-';
    out += random_letter("23456789ABCDEFGHJKMNPQRSTUVWXYZ");
  }
  return out;
}

bool same_secret(std::string_view a, std::string_view b) {
  unsigned char differs = a.size() == b.size() ? 0 : 1;
  for (std::size_t i = 0; i < a.size(); ++i)
    differs = static_cast<unsigned char>(differs | (a[i] ^ (b.empty() ? 0 : b[i % b.size()])));
  return differs == 0;
}

}  // namespace gearhark::workbench
