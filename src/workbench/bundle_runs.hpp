// A phone's road-test bundle on the bench, taken apart by the program as a child (`gearhark unpack`).
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "road_test_text.hpp"

namespace gearhark::workbench {

struct BundleRun {
  RunNotes notes;
  std::string sound, log;  // names of files beside the road-test file; no log: ""
};

bool looks_like_bundle(std::string_view first_bytes);

// The recordings of the road-test file that the child wrote. Nothing: it can't be understood, or names files
// that are elsewhere.
std::optional<std::vector<BundleRun>> bundle_runs(const std::string& road_test);

}  // namespace gearhark::workbench
