#include "gearhark/workbench/workbench.hpp"

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"

namespace gearhark::cli {
namespace {

constexpr int usual_https_port = 8443;

struct Options {
  int port = 0;
  int lan_port = 0;
  bool no_browser = false, lan = false, https = false;
  std::string lan_address, casebook;
  int largest_mb = 512;
  double patience_s = 10.0;
};

Outcome start(const Options& given) {
  WorkbenchSettings settings;
  settings.port = given.port;
  if (given.lan || !given.lan_address.empty()) settings.lan = given.lan_address;
  // A recorder's recordings lie in the phone under this very address, so it must be the same the next time.
  settings.lan_port = given.lan_port == 0 && given.https ? usual_https_port : given.lan_port;
  settings.https = given.https;
  if (given.https) {
    if (!settings.lan) return usage("--https is for phones; add --lan");
    const auto folder = data_folder();
    if (!folder) return folder.error();
    settings.data_folder = *folder;
  }
  settings.open_browser = !given.no_browser;
  settings.casebook = given.casebook;
  settings.largest_upload = std::int64_t{given.largest_mb} << 20;
  settings.patience = std::chrono::milliseconds(static_cast<long>(1000.0 * given.patience_s));
  return run_workbench(settings);
}

}  // namespace

void add_workbench(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command =
      app.add_subcommand("workbench", "the whole job on a page in the browser of this machine");
  command->add_option("--port", given->port, "the port on this machine; any free one when left out")
      ->type_name("N")
      ->check(CLI::Range(1, 65535));
  command->add_flag("--no-browser", given->no_browser, "print the address, open nothing");
  command->add_flag("--lan", given->lan, "let phones on the workshop's network send recordings");
  command->add_option("--lan-address", given->lan_address, "the same, on this address of this machine")
      ->type_name("ADDRESS");
  command->add_option("--lan-port", given->lan_port, "the phones' port; 8443 with --https, else any free one")
      ->type_name("N")
      ->check(CLI::Range(1, 65535));
  command->add_flag(
      "--https", given->https,
      "encrypted for phones, and with the recorder, which needs that; the certificate is made here");
  command->add_option("--casebook", given->casebook, "the casebook; in the user's data folder when left out")
      ->type_name("FILE");
  command->add_option("--largest", given->largest_mb, "largest recording in MB (512)")
      ->type_name("MB")
      ->check(CLI::Range(1, 4096));
  command
      ->add_option("--patience", given->patience_s,
                   "seconds after which a silent connection is given up (10)")
      ->type_name("S")
      ->check(CLI::Range(0.1, 600.0));
  command->footer("Example:\n  gearhark workbench --lan --https");
  command->callback([given, &chosen] { chosen = [given] { return start(*given); }; });
}

}  // namespace gearhark::cli
