#include "sound_kind.hpp"

#include <algorithm>
#include <array>
#include <utility>

namespace gearhark::workbench {
namespace {

constexpr std::array<std::pair<std::string_view, std::string_view>, 18> kinds{{
    {".m4a", "audio/mp4"},
    {".mp4", "video/mp4"},
    {".mov", "video/quicktime"},
    {".3gp", "audio/3gpp"},
    {".wav", "audio/wav"},
    {".flac", "audio/flac"},
    {".mp3", "audio/mpeg"},
    {".ogg", "audio/ogg"},
    {".oga", "audio/ogg"},
    {".opus", "audio/ogg"},
    {".aac", "audio/aac"},
    {".amr", "audio/amr"},
    {".webm", "audio/webm"},
    {".mkv", "video/webm"},
    {".aif", "audio/aiff"},
    {".aiff", "audio/aiff"},
    {".caf", "audio/x-caf"},
    {".au", "audio/basic"},
}};

// The last letters of a name, small.
std::string end_of(std::string_view name) {
  std::string out(name.substr(name.size() - std::min<std::size_t>(name.size(), 8)));
  for (char& letter : out)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter - 'A' + 'a');
  return out;
}

}  // namespace

bool looks_like_sound(std::string_view head) {
  constexpr std::array starts{"RIFF", "RIFX", "RF64", "riff",  "FORM", ".snd",
                              "caff", "fLaC", "OggS", "#!AMR", "ID3"};
  for (const std::string_view start : starts)
    if (head.starts_with(start)) return true;
  if (head.starts_with("\x1a\x45\xdf\xa3")) return true;  // Matroska, WebM
  // A frame of MPEG audio or ADTS.
  if (head.size() > 1 && head[0] == '\xff' && (static_cast<unsigned char>(head[1]) & 0xe0) == 0xe0)
    return true;
  const std::string_view box = head.substr(std::min<std::size_t>(4, head.size()), 4);
  return box == "ftyp" || box == "moov" || box == "wide" || box == "mdat";
}

std::string_view known_ending(std::string_view client_name) {
  const std::string end = end_of(client_name);
  for (const auto& [ending, type] : kinds)
    if (end.ends_with(ending)) return ending;
  return ".bin";
}

std::string_view known_log(std::string_view client_name) {
  const std::string end = end_of(client_name);
  for (const std::string_view ending : {".gpx", ".nmea", ".csv"})
    if (end.ends_with(ending)) return ending;
  return "";
}

std::string_view media_type(std::string_view ending) {
  for (const auto& [known, type] : kinds)
    if (known == ending) return type;
  return "application/octet-stream";
}

}  // namespace gearhark::workbench
