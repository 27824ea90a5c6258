// The subcommands. Each adds its options to the application and, when it is the one chosen, sets what is to
// be done; main does it and turns an error into a sentence and an exit code.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <optional>

#include "gearhark/units/result.hpp"

namespace gearhark::cli {

using Outcome = std::optional<Error>;  // nothing: done
using Action = std::function<Outcome()>;

void add_orders(CLI::App& app, Action& chosen);
void add_teeth(CLI::App& app, Action& chosen);
void add_plan(CLI::App& app, Action& chosen);
void add_check(CLI::App& app, Action& chosen);
void add_diagnose(CLI::App& app, Action& chosen);
void add_batch(CLI::App& app, Action& chosen);
void add_compare(CLI::App& app, Action& chosen);
void add_confirm(CLI::App& app, Action& chosen);
void add_listen(CLI::App& app, Action& chosen);
void add_decide(CLI::App& app, Action& chosen);
void add_swap(CLI::App& app, Action& chosen);
void add_unpack(CLI::App& app, Action& chosen);
void add_inspect(CLI::App& app, Action& chosen);
void add_case(CLI::App& app, Action& chosen);
void add_workbench(CLI::App& app, Action& chosen);
void add_recorder(CLI::App& app, Action& chosen);

}  // namespace gearhark::cli
