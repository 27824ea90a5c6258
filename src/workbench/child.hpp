// Runs this very program as a child that can neither eat the machine nor outlive the server. Foreign sound is
// decoded there and nowhere else.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <stop_token>
#include <string>
#include <vector>

namespace gearhark::workbench {

struct ChildLimits {
  std::int64_t memory = std::int64_t{4} << 30;       // bytes of address space
  std::chrono::seconds time{600};                    // on the clock; twice that of processor time
  std::int64_t file_size = std::int64_t{512} << 20;  // bytes of any file that it writes
  bool confined = true;                              // to its folder, where the kernel can (confine.hpp)
};

struct ChildOutcome {
  enum class Ending { exited, stopped, out_of_time, killed, not_started } ending = Ending::not_started;
  int code = -1;
  std::string out, complaint;  // the first 16 MB and 64 kB
  [[nodiscard]] bool well() const { return ending == Ending::exited && code == 0; }
  // Why it did not go well, as one sentence for a person.
  [[nodiscard]] std::string sentence() const;
};

// `words`: the arguments, handed over as they are (no shell). `folder`: where it runs. `on_line`: every whole
// line that it writes to standard error, as it comes. Returns once the child is gone.
ChildOutcome run_child(const std::vector<std::string>& words, const std::string& folder,
                       const ChildLimits& limits, const std::stop_token& stop = {},
                       const std::function<void(const std::string&)>& on_line = {});

}  // namespace gearhark::workbench
