#include "upload.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "bundle_runs.hpp"
#include "sound_kind.hpp"

namespace gearhark::workbench {

namespace fs = std::filesystem;

Upload::Upload(fs::path file, std::int64_t largest)
    : file_(std::move(file)), out_(std::fopen(file_.c_str(), "wbex")), largest_(largest) {}

Upload::~Upload() {
  if (out_) std::fclose(out_);
  std::error_code ignored;
  if (!kept_) fs::remove(file_, ignored);
}

std::optional<Answer> Upload::write(const char* bytes, std::size_t count) {
  if (!out_) return disk_full();
  if (head_.size() < 16) {
    head_.append(bytes, std::min(count, 16 - head_.size()));
    if (head_.size() >= 16 && !looks_like_sound(head_) && !bundle())
      return problem(415, "This is no sound or video file that is known here; send the recording itself.");
  }
  bytes_ += static_cast<std::int64_t>(count);
  if (bytes_ > largest_)
    return problem(413, fmt::format("This recording is larger than {} MB; cut it, or record shorter runs.",
                                    largest_ >> 20));
  if (std::fwrite(bytes, 1, count, out_) != count) return disk_full();
  return std::nullopt;
}

bool Upload::bundle() const { return looks_like_bundle(head_); }

std::optional<Answer> Upload::finish() {
  if (bytes_ < 16) return problem(415, "This file is empty; copy it from the phone again.");
  const bool well = out_ && std::fclose(out_) == 0;
  out_ = nullptr;
  if (!well) return disk_full();
  return std::nullopt;
}

}  // namespace gearhark::workbench
