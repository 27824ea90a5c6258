#include <fmt/format.h>
#include <sndfile.h>
#include <unistd.h>

#include <cstdio>
#include <memory>

#include "gearhark/synthesis/synthesis.hpp"

namespace gearhark {

std::optional<Error> write_wav(const std::string& path, const Sound& sound) {
  SF_INFO info{};
  info.samplerate = static_cast<int>(sound.sample_rate);
  info.channels = 1;
  info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
  const auto frames = static_cast<sf_count_t>(sound.samples.size());
  // Beside its target, so that nothing is ever half written there.
  const std::string beside = fmt::format("{}.{}.part", path, ::getpid());
  std::unique_ptr<SNDFILE, int (*)(SNDFILE*)> file(sf_open(beside.c_str(), SFM_WRITE, &info), sf_close);
  if (!file)
    return Error{
        fmt::format("{}: can't be written ({}); choose a folder that exists.", path, sf_strerror(nullptr))};
  sf_command(file.get(), SFC_SET_CLIPPING, nullptr, SF_TRUE);
  const bool whole = sf_writef_float(file.get(), sound.samples.data(), frames) == frames;
  if (sf_close(file.release()) == 0 && whole && std::rename(beside.c_str(), path.c_str()) == 0)
    return std::nullopt;
  std::remove(beside.c_str());
  return Error{fmt::format("{}: could only be written in part and was removed; is the disk full?", path)};
}

}  // namespace gearhark
