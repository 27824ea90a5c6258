#include "magic.hpp"

#include <array>
#include <fstream>
#include <string_view>

namespace gearhark {

Magic magic_of(const std::string& path) {
  std::array<char, 8> bytes{};
  std::ifstream(path, std::ios::binary).read(bytes.data(), bytes.size());
  const std::string_view head(bytes.data(), bytes.size());
  for (std::string_view known : {"RIFF", "RIFX", "RF64", "riff", "FORM", ".snd", "caff", "fLaC", "OggS"})
    if (head.starts_with(known)) return Magic::for_sndfile;
  return head.substr(4) == "ftyp" ? Magic::mp4 : Magic::other;
}

}  // namespace gearhark
