// gearhark: which rotating part of an old car is making the noise.
#include <fmt/format.h>

#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <iostream>
#include <new>

#include "app.hpp"
#include "gearhark/units/memory.hpp"

namespace {

using namespace gearhark;

int exit_code(ErrorKind kind) { return kind == ErrorKind::usage ? 2 : 1; }

int complain(const Error& error) {
  fmt::print(stderr, "gearhark: {}\n", error.sentence);
  return exit_code(error.kind);
}

// --help and --version come as "errors" with code 0.
int after_parse_error(const CLI::App& app, const CLI::ParseError& error) {
  if (error.get_exit_code() == 0) {
    app.exit(error);
    if (std::cout.flush()) return 0;
    return complain({"standard output can't be written; is the disk full?"});
  }
  std::string command = "gearhark";
  for (const auto* chosen : app.get_subcommands()) command += " " + chosen->get_name();
  return complain({fmt::format("{}; see {} --help", error.what(), command), ErrorKind::usage});
}

// At once, without unwinding: destructors of the JSON library ask for memory too. Files are written beside
// their targets, so nothing is left half done.
[[noreturn]] void out_of_memory() {
  std::fputs("gearhark: there is not enough memory for this; close other programs or give less sound\n",
             stderr);
  std::_Exit(1);
}

int run(int count, char** words) {
  CLI::App app;
  cli::Action chosen;
  cli::set_up(app, chosen);
  try {
    app.parse(count, words);
    const auto error = chosen();
    return error ? complain(*error) : 0;
  } catch (const CLI::ParseError& e) {
    return after_parse_error(app, e);
  }
}

}  // namespace

int main(int count, char** words) {
  std::signal(SIGXFSZ, SIG_IGN);  // a limit on file sizes is then an error like a full disk
  std::set_new_handler(out_of_memory);
  keep_freed_memory();
  try {
    return run(count, words);
  } catch (const std::bad_alloc&) {
    out_of_memory();
  } catch (const std::exception& e) {
    return complain({fmt::format("stopped by an error of its own ({})", e.what()), ErrorKind::input});
  }
}
