// gearhark: which rotating part of an old car is making the noise.
#include <fmt/format.h>

#include <cstdio>
#include <exception>

#include "commands.hpp"

namespace {

using namespace gearhark;

int exit_code(ErrorKind kind) { return kind == ErrorKind::usage ? 2 : 1; }

int complain(const Error& error) {
  fmt::print(stderr, "gearhark: {}\n", error.sentence);
  return exit_code(error.kind);
}

// --help and --version come as "errors" with code 0.
int after_parse_error(const CLI::App& app, const CLI::ParseError& error) {
  if (error.get_exit_code() == 0) return app.exit(error);
  std::string command = "gearhark";
  for (const auto* chosen : app.get_subcommands()) command += " " + chosen->get_name();
  return complain({fmt::format("{}; see {} --help", error.what(), command), ErrorKind::usage});
}

}  // namespace

int main(int count, char** words) {
  CLI::App app{"Which rotating part of an old car is making the noise, from a recording of a road test."};
  app.set_version_flag("--version", "gearhark " GEARHARK_VERSION);
  app.require_subcommand(1);
  app.get_formatter()->column_width(34);
  app.footer(
      "Exit codes: 0 done, 1 the input can't be used, 2 wrong command line. A verdict is never an exit "
      "code.");
  cli::Action chosen;
  cli::add_orders(app, chosen);
  cli::add_teeth(app, chosen);
  cli::add_plan(app, chosen);
  cli::add_check(app, chosen);
  cli::add_diagnose(app, chosen);
  cli::add_compare(app, chosen);
  cli::add_confirm(app, chosen);
  cli::add_listen(app, chosen);
  cli::add_decide(app, chosen);
  cli::add_swap(app, chosen);
  cli::add_inspect(app, chosen);
  cli::add_case(app, chosen);
  cli::add_workbench(app, chosen);
  try {
    app.parse(count, words);
    const auto error = chosen();
    return error ? complain(*error) : 0;
  } catch (const CLI::ParseError& e) {
    return after_parse_error(app, e);
  } catch (const std::exception& e) {
    return complain({fmt::format("stopped by an error of its own ({})", e.what()), ErrorKind::input});
  }
}
