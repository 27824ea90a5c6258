// What a command prints and writes.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <string_view>

#include "commands.hpp"

namespace gearhark::cli {

// Adds --json to a command.
void add_json_option(CLI::App& command, std::string& target);

// Adds --report to a command.
void add_report_option(CLI::App& command, std::string& target);

// Prints the text, and writes the JSON to `target` ("": nowhere; "-": to standard output instead of the
// text).
Outcome deliver(const std::string& text, const std::string& json, const std::string& target);

}  // namespace gearhark::cli
