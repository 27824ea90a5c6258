// The road-test file of the recordings on the bench.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace gearhark::workbench {

// What the mechanic said of a recording. Texts as typed; the program that reads the road-test file judges
// them.
struct RunNotes {
  std::string gear, load, turn = "straight", clutch = "engaged";
  std::string speed;
  // What the speed is: "needle", "satellite", "between" (two speeds), "engine" (rev counter), "bench"
  // (shafts), "log" (a file that was sent; `speed` then says how far into it the recording starts, or
  // nothing).
  std::string speed_kind = "needle";
  std::string log;  // ending of the speed log's file, ".gpx"; "": none was sent
  std::string from, to;
};

// A string of TOML: whatever is in `text`, it stays one string.
std::string toml_string(std::string_view text);

// One [[recording]]; `file` with `ending`, and a speed log of the same name, stand beside the road-test file.
std::string recording_text(const RunNotes& notes, const std::string& file, const std::string& ending);

// What is missing before the run can be used, as a sentence without its name; nothing where all is there.
std::optional<std::string> missing(const RunNotes& notes);

}  // namespace gearhark::workbench
