#include "gearhark/report/compare.hpp"

#include <fmt/format.h>

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/bundle.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/report/page.hpp"
#include "gearhark/units/files.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"
#include "run_options.hpp"
#include "waiting.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string before, after, car, json, report;
};

// What is compared has to be held: of a run over two minutes the clearest part is.
void shorten(const Car& car, std::vector<RunSound>& sounds, std::vector<std::string>& remarks) {
  for (RunSound& sound : sounds) {
    if (!sound.pieces) continue;
    sound = clearest_part(car, std::move(sound));
    remarks.push_back(fmt::format(
        "Of {} the part from {:.0f} to {:.0f} s was compared, where its speed is surest.", sound.run.file,
        sound.run.from.value_or(Seconds(0)).value(), sound.run.to.value_or(Seconds(0)).value()));
  }
}

Outcome compare_all(const Options& given) {
  // One of the two may be a road-test file, which names its car.
  const auto car_for = [&](const std::string& file) { return looks_like_bundle(file) ? given.car : ""; };
  if (!given.car.empty() && !looks_like_bundle(given.before) && !looks_like_bundle(given.after))
    return usage("--car is for bundles; a road-test file names its car itself");
  const auto before = road_test_with(given.before, car_for(given.before));
  if (!before) return before.error();
  const auto after = road_test_with(given.after, car_for(given.after));
  if (!after) return after.error();
  if (before->car.name != after->car.name)
    return Error{fmt::format(
        "{}: this road test is of \"{}\", but {} is of \"{}\"; before and after must be of one car",
        given.after, after->car.name, given.before, before->car.name)};
  tell_left_out(*before);
  tell_left_out(*after);
  Waiting waiting("reading the recordings");
  auto was = sounds_of(*before);
  if (!was) return was.error();
  auto is = sounds_of(*after);
  if (!is) return is.error();
  waiting.now("comparing");
  std::vector<std::string> shortened;
  for (auto* sounds : {&*was, &*is}) shorten(before->car, *sounds, shortened);
  Comparison comparison = compare(before->car, *was, *is);
  comparison.remarks.insert(comparison.remarks.end(), shortened.begin(), shortened.end());
  waiting.done();
  if (!given.report.empty())
    if (auto error = write_file(given.report, comparison_page(comparison))) return error;
  return deliver(comparison_text(comparison), comparison_json(comparison), given.json);
}

}  // namespace

void add_compare(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("compare", "whether a noise is gone after a repair");
  command->add_option("before", given->before, "the road test before the repair")
      ->required()
      ->type_name("BEFORE.toml|BEFORE.zip");
  command->add_option("after", given->after, "the road test after it: same gears, loads, turns and speeds")
      ->required()
      ->type_name("AFTER.toml|AFTER.zip");
  add_bundle_car_option(*command, given->car);
  add_json_option(*command, given->json);
  add_report_option(*command, given->report);
  command->footer(
      "Example:\n  gearhark compare samples/pinion_bearing/ROADTEST.toml "
      "samples/pinion_repaired/ROADTEST.toml");
  command->callback([given, &chosen] { chosen = [given] { return compare_all(*given); }; });
}

}  // namespace gearhark::cli
