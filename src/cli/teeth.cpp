#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/report/orders.hpp"
#include "output.hpp"

namespace gearhark::cli {

void add_teeth(CLI::App& app, Action& chosen) {
  struct Options {
    std::string ratio, json;
  };
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("teeth", "the tooth counts that a ratio can stand for");
  command->add_option("ratio", given->ratio, "as printed in a book")->required()->type_name("RATIO");
  add_json_option(*command, given->json);
  command->footer("Example:\n  gearhark teeth 4.11");
  command->callback([given, &chosen] {
    chosen = [given]() -> Outcome {
      const auto pairs = option("RATIO", tooth_pairs_for_ratio(given->ratio));
      if (!pairs) return pairs.error();
      return deliver(teeth_text(given->ratio, *pairs), teeth_json(given->ratio, *pairs), given->json);
    };
  });
}

}  // namespace gearhark::cli
