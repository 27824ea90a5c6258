#include "gearhark/report/batch.hpp"

#include <nlohmann/json.hpp>

namespace gearhark {

using Json = nlohmann::ordered_json;

std::string answer_line(const std::string& name, const Result<std::string>& diagnosis_json) {
  Json line{{"format", "gearhark answer"}, {"version", 1}, {"case", name}};
  if (diagnosis_json)
    line["diagnosis"] = Json::parse(*diagnosis_json);
  else
    line["error"] = diagnosis_json.error().sentence;
  return line.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::optional<std::string> case_answered(std::string_view line) {
  const Json answer = Json::parse(line, nullptr, false);
  if (!answer.is_object() || !answer.contains("case") || !answer["case"].is_string()) return std::nullopt;
  if (!answer.contains("format") || answer["format"] != "gearhark answer") return std::nullopt;
  return answer["case"].get<std::string>();
}

}  // namespace gearhark
