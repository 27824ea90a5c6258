// What a request comes to.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

namespace gearhark::workbench {

using Json = nlohmann::ordered_json;

struct Answer {
  int status = 200;
  Json body;
};

// A refusal, or what went wrong, as one sentence for a person.
inline Answer problem(int status, const std::string& sentence) { return {status, {{"problem", sentence}}}; }

inline Answer disk_full() {
  return problem(507, "The temporary folder of this machine is full or can't be written.");
}

}  // namespace gearhark::workbench
