#include "app.hpp"

namespace gearhark::cli {

void set_up(CLI::App& app, Action& chosen) {
  app.description("Which rotating part of an old car is making the noise, from a recording of a road test.");
  app.set_version_flag("--version", "gearhark " GEARHARK_VERSION);
  app.require_subcommand(1);
  app.get_formatter()->column_width(34);
  app.footer(
      "Exit codes: 0 done, 1 the input can't be used, 2 wrong command line. A verdict is never an exit "
      "code.");
  add_orders(app, chosen);
  add_teeth(app, chosen);
  add_plan(app, chosen);
  add_check(app, chosen);
  add_diagnose(app, chosen);
  add_unpack(app, chosen);
  add_batch(app, chosen);
  add_compare(app, chosen);
  add_confirm(app, chosen);
  add_listen(app, chosen);
  add_decide(app, chosen);
  add_swap(app, chosen);
  add_inspect(app, chosen);
  add_case(app, chosen);
  add_workbench(app, chosen);
  add_recorder(app, chosen);
}

}  // namespace gearhark::cli
