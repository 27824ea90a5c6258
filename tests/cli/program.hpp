// Runs the built program as a shell would, and makes the small files it is fed with.
#pragma once

#include <sys/wait.h>

#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "../folder.hpp"

namespace gearhark {

inline const std::string source_folder = GEARHARK_SOURCE_DIR;
inline const std::string heron = source_folder + "/models/heron_rear_transaxle.toml";

inline std::string contents(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

struct Ran {
  int code = -1;
  std::string out, complaint;
  // One sentence on standard error, nothing on standard output.
  [[nodiscard]] bool one_sentence() const {
    return out.empty() && complaint.starts_with("gearhark: ") && complaint.find('\n') + 1 == complaint.size();
  }
};

// `words` go through the shell: quote what has spaces.
inline Ran gearhark_run(const std::string& words) {
  const Folder folder;
  const std::string out = folder / "out", complaint = folder / "err";
  const int status =
      std::system(("\"" GEARHARK_PROGRAM "\" " + words + " >" + out + " 2>" + complaint).c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, contents(out), contents(complaint)};
}

// Debian's python3-jsonschema judges; its complaint, or nothing.
inline std::string schema_complaint(const std::string& schema, const std::string& document) {
  const Folder folder;
  const std::string file = folder.write("document.json", document), said = folder / "said";
  const std::string script =
      "import json,sys,jsonschema as j\\n"
      "s=json.load(open(sys.argv[1])); j.Draft7Validator.check_schema(s); "
      "j.validate(json.load(open(sys.argv[2])),s)";
  const int status = std::system(("python3 -c \"$(printf '" + script + "')\" " + source_folder +
                                  "/src/report/schema/" + schema + ".json " + file + " 2>" + said)
                                     .c_str());
  return status == 0 ? "" : "invalid: " + contents(said);
}

inline std::string little_endian(std::uint32_t value, int bytes) {
  std::string out;
  for (int i = 0; i < bytes; ++i) out += static_cast<char>(value >> (8 * i) & 0xff);
  return out;
}

// A WAV file of 32-bit floats: every channel holds the same samples.
inline std::string wav(const std::vector<float>& samples, std::uint32_t rate, std::uint32_t channels = 1) {
  std::string data;
  for (const float sample : samples)
    for (std::uint32_t c = 0; c < channels; ++c) data.append(reinterpret_cast<const char*>(&sample), 4);
  const auto size = static_cast<std::uint32_t>(data.size());
  return "RIFF" + little_endian(36 + size, 4) + "WAVEfmt " + little_endian(16, 4) + little_endian(3, 2) +
         little_endian(channels, 2) + little_endian(rate, 4) + little_endian(rate * channels * 4, 4) +
         little_endian(channels * 4, 2) + little_endian(32, 2) + "data" + little_endian(size, 4) + data;
}

// White noise that is the same every time (Park and Miller's generator).
inline std::vector<float> noise(double seconds, double rate) {
  std::vector<float> out(static_cast<std::size_t>(seconds * rate));
  std::uint64_t state = 1;
  for (float& sample : out) {
    state = state * 48271 % 2147483647;
    sample = static_cast<float>(static_cast<double>(state) / 2147483647.0 - 0.5) * 0.4F;
  }
  return out;
}

}  // namespace gearhark
