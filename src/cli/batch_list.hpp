// The list of a batch: what each line asks for.
//
//   samples/pinion_bearing/ROADTEST.toml                    a road-test file; the path is the case's name
//   {"case":"heron 12","road_test":"heron/ROADTEST.toml"}    the same under a name
//   {"case":"heron 13","car":"heron.toml","recording":[{"file":"a.m4a","gear":3,...}]}   a whole road test
//
// Empty lines and those that start with # are passed over. Paths count from the current folder.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "gearhark/diagnosis/road_test.hpp"

namespace gearhark::cli {

struct ListedCase {
  std::string name;
  std::string place;      // "FILE:LINE"
  std::string road_test;  // path of a road-test file, or
  std::string toml;       // the text of one
  std::string error;      // why neither is there
};

// A line that can't be understood becomes a case with an error, so that it stops no other. `file` names the
// list.
std::vector<ListedCase> cases_of_list(std::string_view text, const std::string& file);

Result<RoadTest> road_test_of(const ListedCase& listed);

}  // namespace gearhark::cli
