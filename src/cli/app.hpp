// The whole command line as one tree of commands and options: main runs it, the man page and the shell
// completions are made from it.
#pragma once

#include "commands.hpp"

namespace gearhark::cli {

// `chosen` becomes what the parsed command line asks for.
void set_up(CLI::App& app, Action& chosen);

}  // namespace gearhark::cli
