#include "output.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <cstdio>
#include <cstring>

#include "gearhark/units/files.hpp"

namespace gearhark::cli {
namespace {

Outcome print(const std::string& text) {
  if (std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0)
    return std::nullopt;
  return Error{fmt::format("standard output can't be written ({})", std::strerror(errno))};
}

}  // namespace

void add_json_option(CLI::App& command, std::string& target) {
  command
      .add_option("--json", target,
                  "write the machine form to FILE, or with - to standard output instead of the text")
      ->type_name("FILE");
}

void add_report_option(CLI::App& command, std::string& target) {
  command
      .add_option("--report", target,
                  "write a report page to FILE.html: one file that opens anywhere, and prints")
      ->type_name("FILE.html");
}

Outcome deliver(const std::string& text, const std::string& json, const std::string& target) {
  if (target == "-") return print(json);
  if (!target.empty())
    if (auto error = write_file(target, json)) return error;
  return print(text);
}

}  // namespace gearhark::cli
