#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cstring>
#include <memory>
#include <string>

#include "gearhark/synthesis/synthesis.hpp"
#include "gearhark/units/files.hpp"

namespace gearhark {
namespace {

// A file in memory, as libsndfile wants to see it.
struct Memory {
  std::string bytes;
  sf_count_t at = 0;
};

Memory& memory(void* user) { return *static_cast<Memory*>(user); }
sf_count_t length(void* user) { return static_cast<sf_count_t>(memory(user).bytes.size()); }
sf_count_t seek(sf_count_t offset, int whence, void* user) {
  Memory& m = memory(user);
  m.at = offset + (whence == SEEK_CUR ? m.at : whence == SEEK_END ? length(user) : 0);
  return m.at;
}
sf_count_t tell(void* user) { return memory(user).at; }
sf_count_t read(void*, sf_count_t, void*) { return 0; }
sf_count_t write(const void* from, sf_count_t count, void* user) {
  Memory& m = memory(user);
  m.bytes.resize(std::max(m.bytes.size(), static_cast<std::size_t>(m.at + count)));
  std::memcpy(m.bytes.data() + m.at, from, static_cast<std::size_t>(count));
  m.at += count;
  return count;
}

std::string wav_of(const Sound& sound) {
  SF_INFO info{};
  info.samplerate = static_cast<int>(sound.sample_rate);
  info.channels = 1;
  info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
  SF_VIRTUAL_IO io{length, seek, read, write, tell};
  Memory out;
  std::unique_ptr<SNDFILE, int (*)(SNDFILE*)> file(sf_open_virtual(&io, SFM_WRITE, &info, &out), sf_close);
  if (!file) return "";
  sf_command(file.get(), SFC_SET_CLIPPING, nullptr, SF_TRUE);
  const auto frames = static_cast<sf_count_t>(sound.samples.size());
  const bool whole = sf_writef_float(file.get(), sound.samples.data(), frames) == frames;
  return sf_close(file.release()) == 0 && whole ? out.bytes : "";
}

}  // namespace

std::optional<Error> write_wav(const std::string& path, const Sound& sound) {
  const std::string bytes = wav_of(sound);
  if (!bytes.empty()) return write_file(path, bytes);
  return Error{fmt::format("{}: can't be written: a WAV file can't hold {} samples at {:.0f} Hz", path,
                           sound.samples.size(), sound.sample_rate)};
}

}  // namespace gearhark
