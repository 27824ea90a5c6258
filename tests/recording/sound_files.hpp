// Sounds and sound files for the tests: WAV files are written here, all others by the ffmpeg program
// (.ci/packages).
#pragma once

#include <unistd.h>

#include <algorithm>
#include <bit>
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "gearhark/recording/recording.hpp"

namespace sound_files {

class TempFolder {
 public:
  TempFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "gearhark_XXXXXX").string();
    REQUIRE(mkdtemp(name.data()) != nullptr);
    path_ = name;
  }
  TempFolder(const TempFolder&) = delete;
  TempFolder& operator=(const TempFolder&) = delete;
  ~TempFolder() { std::filesystem::remove_all(path_); }
  [[nodiscard]] std::string operator/(const std::string& file) const { return (path_ / file).string(); }

 private:
  std::filesystem::path path_;
};

inline std::vector<float> tone(double hertz, double amplitude, double seconds, double rate) {
  std::vector<float> x(static_cast<std::size_t>(std::lround(seconds * rate)));
  for (std::size_t i = 0; i < x.size(); ++i)
    x[i] = static_cast<float>(amplitude *
                              std::sin(2.0 * std::numbers::pi * hertz * static_cast<double>(i) / rate));
  return x;
}

// White Gaussian noise; the generator's numbers are fixed by the standard, so every run sees the same.
inline std::vector<float> noise(double rms, double seconds, double rate, unsigned which = 1) {
  std::mt19937 numbers(which);
  std::vector<float> x(static_cast<std::size_t>(std::lround(seconds * rate)));
  const auto uniform = [&] { return (static_cast<double>(numbers()) + 0.5) / 4294967296.0; };
  for (float& sample : x)
    sample = static_cast<float>(rms * std::sqrt(-2.0 * std::log(uniform())) *
                                std::cos(2.0 * std::numbers::pi * uniform()));
  return x;
}

inline gearhark::Recording recording_of(std::vector<float> samples, double rate) {
  gearhark::Recording r;
  r.sample_rate = rate;
  r.samples = std::move(samples);
  r.facts.duration = r.duration();
  return r;
}

inline void append(std::string& bytes, std::uint32_t value, int count) {
  for (int i = 0; i < count; ++i) bytes += static_cast<char>(value >> (8 * i) & 0xFFu);
}

struct WavHeader {
  std::uint32_t rate = 48000, channels = 1, bits = 16;
  bool floating = false;
};

inline std::string wav_bytes(const WavHeader& h, const std::string& data) {
  std::string bytes = "RIFF";
  append(bytes, static_cast<std::uint32_t>(36 + data.size()), 4);
  bytes += "WAVEfmt ";
  append(bytes, 16, 4);
  append(bytes, h.floating ? 3 : 1, 2);
  append(bytes, h.channels, 2);
  append(bytes, h.rate, 4);
  append(bytes, h.rate * h.channels * h.bits / 8, 4);
  append(bytes, h.channels * h.bits / 8, 2);
  append(bytes, h.bits, 2);
  bytes += "data";
  append(bytes, static_cast<std::uint32_t>(data.size()), 4);
  return bytes + data;
}

// Interleaved samples.
inline std::string wav_of(const std::vector<float>& samples, WavHeader h = {}) {
  if (h.floating) h.bits = 32;
  std::string data;
  for (float x : samples)
    if (h.floating)
      append(data, std::bit_cast<std::uint32_t>(x), 4);
    else
      append(data, static_cast<std::uint32_t>(std::lround(std::clamp(x, -1.0F, 1.0F) * 32767.0F)), 2);
  return wav_bytes(h, data);
}

inline void write(const std::string& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
  REQUIRE(std::filesystem::file_size(path) == bytes.size());
}

inline std::string read(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  REQUIRE(file);
  return {std::istreambuf_iterator<char>(file), {}};
}

// Runs ffmpeg with these arguments; a missing program or codec fails the test.
inline void ffmpeg(const std::string& arguments) {
  const std::string command = "ffmpeg -nostdin -hide_banner -loglevel error -y " + arguments;
  INFO(command);
  REQUIRE(std::system(command.c_str()) == 0);
}

// Amplitude and frequency of a tone near `hertz` between two moments: amplitude by projection, frequency by
// the advance of phase from the first half to the second.
struct ToneFound {
  double amplitude = 0.0, hertz = 0.0;
};

inline ToneFound find_tone(const gearhark::Recording& r, double hertz, double from_s, double to_s) {
  const auto start = static_cast<std::size_t>(from_s * r.sample_rate);
  const auto half = static_cast<std::size_t>((to_s - from_s) / 2.0 * r.sample_rate);
  REQUIRE(r.samples.size() >= start + 2 * half);
  const auto project = [&](std::size_t first) {
    std::complex<double> sum = 0.0;
    for (std::size_t i = first; i < first + half; ++i)
      sum += static_cast<double>(r.samples[i]) *
             std::polar(2.0 / static_cast<double>(half),
                        -2.0 * std::numbers::pi * hertz * static_cast<double>(i) / r.sample_rate);
    return sum;
  };
  const auto a = project(start), b = project(start + half);
  const double seconds = static_cast<double>(half) / r.sample_rate;
  return {0.5 * (std::abs(a) + std::abs(b)), hertz + std::arg(b / a) / (2.0 * std::numbers::pi * seconds)};
}

}  // namespace sound_files
