#include "gearhark/workbench/recorder.hpp"

#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <memory>

#include "commands.hpp"
#include "gearhark/units/files.hpp"

namespace gearhark::cli {
namespace {

Outcome write_recorder(const std::string& file) {
  if (auto error = write_file(file, recorder_page(ServedBy::anyone))) return error;
  const std::string beside = (std::filesystem::path(file).parent_path() / "recorder_offline.js").string();
  if (auto error = write_file(beside, recorder_offline())) return error;
  fmt::print(
      "{}: the recorder. Put it on any https address of yours and open it on the phone; phones give the\n"
      "microphone to no other page. `gearhark workbench --lan --https` serves it without that.\n"
      "{}: put it beside the page, and the page opens without a network too.\n",
      file, beside);
  return std::nullopt;
}

}  // namespace

void add_recorder(CLI::App& app, Action& chosen) {
  const auto file = std::make_shared<std::string>();
  CLI::App* command =
      app.add_subcommand("recorder", "the page with which a phone records a road test, as a file");
  command->add_option("file", *file, "where to write it")->required()->type_name("FILE.html");
  command->footer("Example:\n  gearhark recorder recorder.html");
  command->callback([file, &chosen] { chosen = [file] { return write_recorder(*file); }; });
}

}  // namespace gearhark::cli
