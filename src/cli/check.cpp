#include "gearhark/report/check.hpp"

#include <memory>

#include "commands.hpp"
#include "output.hpp"

namespace gearhark::cli {

void add_check(CLI::App& app, Action& chosen) {
  struct Options {
    std::string recording, json;
  };
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("check", "whether a recording is good enough, and what to do again");
  command->add_option("recording", given->recording, "a sound or video file")
      ->required()
      ->type_name("RECORDING");
  add_json_option(*command, given->json);
  command->footer("Example:\n  gearhark check samples/pinion_bearing/run1.m4a");
  command->callback([given, &chosen] {
    chosen = [given]() -> Outcome {
      const auto recording = load_recording(given->recording);
      if (!recording) return recording.error();
      const RecordingQuality quality = assess(*recording);
      return deliver(check_text(*recording, quality), check_json(*recording, quality), given->json);
    };
  });
}

}  // namespace gearhark::cli
