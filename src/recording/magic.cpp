#include "magic.hpp"

#include <array>
#include <fstream>
#include <string_view>

namespace gearhark {

Magic magic_of(const std::string& path) {
  std::array<char, 64> bytes{};
  std::ifstream(path, std::ios::binary).read(bytes.data(), bytes.size());
  const std::string_view head(bytes.data(), bytes.size());
  if (head.starts_with("OggS") && head.find("OpusHead") != head.npos) return Magic::ogg_opus;
  for (std::string_view known : {"RIFF", "RIFX", "RF64", "riff", "FORM", ".snd", "caff", "fLaC", "OggS"})
    if (head.starts_with(known)) return Magic::for_sndfile;
  return head.substr(4, 4) == "ftyp" ? Magic::mp4 : Magic::other;
}

}  // namespace gearhark
