#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/road_test.hpp"
#include "gearhark/repair/casebook.hpp"
#include "gearhark/report/diagnosis.hpp"
#include "gearhark/report/page.hpp"
#include "gearhark/units/files.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"
#include "run_options.hpp"
#include "waiting.hpp"

namespace gearhark::cli {
namespace {

struct Options : RunOptions {
  std::string json, report, experience;
  bool progress = false;
};

Result<RoadTest> road_test(const Options& given) {
  const bool several = names_a_road_test(given.file);
  if (several && given.any_but_car())
    return usage(given.file + ": a road test says gear, load, speed and times itself; leave the options out");
  if (!several && given.car.empty())
    return usage(given.file +
                 ": a recording needs --car CAR.toml (and a road-test file ends in .toml, a bundle in .zip)");
  return several ? road_test_with(given.file, given.car) : single_run(given);
}

// Of the casebook named; without one nothing weighs in.
Result<Experience> earlier(const std::string& file) {
  if (file.empty()) return Experience{};
  const auto book = Casebook::open(file, Casebook::IfMissing::fail);
  if (!book) return book.error();
  const auto tally = book->tally();
  if (!tally) return tally.error();
  return experience_of(*tally, file);
}

Outcome draw_report(const Options& given, const RoadTest& test, const std::vector<RunSound>& sounds,
                    Hearing& hearing, const Diagnosis& diagnosis) {
  const Exhibits shown = exhibits(test.car, sounds, hearing, diagnosis);
  const auto played = clips(test.car, sounds, hearing, diagnosis, shown);
  return write_file(given.report, diagnosis_page(diagnosis, shown, played));
}

Outcome diagnose_all(const Options& given) {
  const auto test = road_test(given);
  if (!test) return test.error();
  const auto experience = earlier(given.experience);
  if (!experience) return experience.error();
  const Stages stages = given.progress ? Stages::listed : Stages::passing;
  Waiting waiting("reading the recordings", stages);
  const auto sounds = sounds_of(*test);
  if (!sounds) return sounds.error();
  waiting.now("finding the speed and listening for every part");
  Hearing hearing = hear(test->car, *sounds);
  waiting.now("ranking the suspects");
  Diagnosis diagnosis = diagnosis_of(test->car, hearing, *experience);
  diagnosis.left_out = test->left_out;
  waiting.done();
  if (auto error = deliver(diagnosis_text(diagnosis), diagnosis_json(diagnosis), given.json)) return error;
  if (given.report.empty()) return std::nullopt;
  Waiting drawing("drawing the report", stages);
  return draw_report(given, *test, *sounds, hearing, diagnosis);
}

}  // namespace

void add_diagnose(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("diagnose", "which part is making the noise");
  command
      ->add_option("file", given->file, "a road-test file, a bundle, or one recording with the options below")
      ->required()
      ->type_name("ROADTEST.toml|BUNDLE.zip|RECORDING");
  add_run_options(*command, *given);
  command
      ->add_option("--experience", given->experience,
                   "let the teardown findings of this casebook weigh in the probabilities (20 at least)")
      ->type_name("CASEBOOK");
  command->add_flag("--progress", given->progress, "say on standard error what is being done");
  add_json_option(*command, given->json);
  add_report_option(*command, given->report);
  command->footer(
      "Examples:\n"
      "  gearhark diagnose samples/pinion_bearing/ROADTEST.toml\n"
      "  gearhark diagnose --car models/heron_rear_transaxle.toml road_test.zip\n"
      "  gearhark diagnose --car models/heron_rear_transaxle.toml --speed 65km/h --gear 3 --load drive \\\n"
      "    samples/pinion_bearing/run1.m4a");
  command->callback([given, &chosen] { chosen = [given] { return diagnose_all(*given); }; });
}

}  // namespace gearhark::cli
