// Zip files written by hand, so that every field of theirs can be a lie.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace gearhark::test {

struct ZipEntry {
  std::string name, bytes;
  std::uint32_t attributes = 0;  // as Unix keeps them, in the upper half
  std::uint32_t said_size = 0;   // 0: the true one
  std::uint16_t flags = 0, method = 0;
};

inline std::uint32_t crc32_of(std::string_view bytes) {
  std::uint32_t crc = 0xFFFFFFFFu;
  for (const char c : bytes) {
    crc ^= static_cast<unsigned char>(c);
    for (int bit = 0; bit < 8; ++bit) crc = crc >> 1 ^ (crc & 1u ? 0xEDB88320u : 0u);
  }
  return ~crc;
}

inline std::string little(std::uint64_t value, int bytes) {
  std::string out;
  for (int i = 0; i < bytes; ++i) out += static_cast<char>(value >> 8 * i & 0xFF);
  return out;
}

// `said_entries`: how many the end record claims; 0: the true number.
inline std::string zip_of(const std::vector<ZipEntry>& entries, std::uint16_t said_entries = 0) {
  std::string body, directory;
  for (const ZipEntry& e : entries) {
    const std::uint64_t size = e.said_size ? e.said_size : e.bytes.size();
    const std::string common = little(20, 2) + little(e.flags, 2) + little(e.method, 2) + little(0, 2) +
                               little(0x5B7A, 2) + little(crc32_of(e.bytes), 4) + little(size, 4) +
                               little(size, 4) + little(e.name.size(), 2) + little(0, 2);
    directory += "PK\1\2" + little(0x0314, 2) + common + little(0, 2) + little(0, 2) + little(0, 2) +
                 little(e.attributes, 4) + little(body.size(), 4) + e.name;
    body += "PK\3\4" + common + e.name + e.bytes;
  }
  const std::uint64_t count = said_entries ? said_entries : entries.size();
  return body + directory + "PK\5\6" + little(0, 4) + little(count, 2) + little(count, 2) +
         little(directory.size(), 4) + little(body.size(), 4) + little(0, 2);
}

// 16-bit mono.
inline std::string wav_of(const std::vector<float>& samples, int rate) {
  std::string data;
  for (const float x : samples) {
    const float held = x > 1.0F ? 1.0F : x < -1.0F ? -1.0F : x;
    data += little(static_cast<std::uint16_t>(static_cast<std::int16_t>(held * 32767.0F)), 2);
  }
  const auto r = static_cast<std::uint64_t>(rate);
  return "RIFF" + little(36 + data.size(), 4) + "WAVEfmt " + little(16, 4) + little(1, 2) + little(1, 2) +
         little(r, 4) + little(2 * r, 4) + little(2, 2) + little(16, 2) + "data" + little(data.size(), 4) +
         data;
}

}  // namespace gearhark::test
