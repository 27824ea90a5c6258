// What `gearhark check` tells of a road-test bundle, as text and JSON.
#pragma once

#include <string>
#include <vector>

#include "gearhark/diagnosis/bundle.hpp"
#include "gearhark/recording/processing.hpp"

namespace gearhark {

struct BundleCheck {
  std::vector<Processing> processing;  // of each of the bundle's sounds
  std::vector<std::string> left_out;   // what is not used, a sentence each
  std::vector<std::string> runs;       // of each run: check_text(), or check_json()
};

std::string bundle_text(const Bundle& bundle, const BundleCheck& check);
std::string bundle_json(const Bundle& bundle, const BundleCheck& check);

}  // namespace gearhark
