// A recording on the bench.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include "answer.hpp"
#include "road_test_text.hpp"

namespace gearhark::workbench {

enum class RunState { checking, ready, unusable };

// A recording as it was sent.
struct BenchRun {
  std::string id;       // the server's
  std::string name;     // the client's, text alone
  std::string sent_by;  // phone's token; "": the workbench page
  std::string set;      // "before", "after"
  std::filesystem::path file;
  std::string ending;
  std::int64_t bytes = 0;
  std::int64_t stored = 0;  // on disk for this recording: runs of a bundle share their sound
  RunNotes notes;
  RunState state = RunState::checking;
  std::string trouble;  // why it is unusable
  std::string check;    // machine form of `gearhark check`
  Json check_summary;
  std::string bundled;                // name of its sound in the bundle that it came in
  std::vector<std::string> left_out;  // of a bundle's first run: what of the bundle is not used
  std::string log_name;               // the client's, of its speed log; text alone
  [[nodiscard]] std::filesystem::path log_file() const { return file.string() + "_speed"; }
  std::jthread checking;
};

// As the page is told of it.
Json run_json(const BenchRun& run);

// Sets what `changes` names, all of it or nothing; "": done, else which of them can't be. `changed`: whether
// anything was another before.
std::string change(BenchRun& run, const Json& changes, bool& changed);

// What the page shows of a check (`gearhark check`) before it asks for the whole.
Json summary_of(const std::string& check);

}  // namespace gearhark::workbench
