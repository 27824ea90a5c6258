#include "gearhark/report/batch.hpp"

#include <fmt/format.h>

#include <cstdio>
#include <memory>

#include "answers.hpp"
#include "arguments.hpp"
#include "batch_list.hpp"
#include "commands.hpp"
#include "gearhark/report/diagnosis.hpp"
#include "gearhark/signal/parallel.hpp"
#include "gearhark/units/files.hpp"
#include "road_test_sounds.hpp"
#include "workers.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string list, go_on;
  std::size_t jobs = 0;
  int limit = 1800;  // s
};

Result<std::string> diagnosed(const ListedCase& listed) {
  const auto test = road_test_of(listed);
  if (!test) return test.error();
  const auto sounds = sounds_of(*test);
  if (!sounds) return sounds.error();
  Diagnosis diagnosis = diagnose(test->car, *sounds);
  diagnosis.left_out = test->left_out;
  return diagnosis_json(diagnosis);
}

std::string answer_to(const ListedCase& listed) {
  try {
    return answer_line(listed.name, diagnosed(listed));
  } catch (const std::exception& e) {
    return answer_line(listed.name, Error{fmt::format("{}: the program stopped by an error of its own ({})",
                                                      listed.name, e.what())});
  }
}

struct Count {
  std::size_t answered = 0, before = 0, failed = 0;
};

Outcome answer_all(const std::vector<ListedCase>& cases, WorkLimits limits, Answers& answers, Count& count) {
  const std::size_t cores = cores_allowed();
  const auto done = [&](std::size_t i, const std::string& line, const std::string& trouble) {
    ++count.answered;
    const bool whole = trouble.empty() && line.ends_with('\n');
    if (!whole || line.find(R"("error":)") != std::string::npos) ++count.failed;
    if (whole) return answers.add(line);
    return answers.add(answer_line(
        cases[i].name,
        Error{fmt::format("{}: {}", cases[i].name, trouble.empty() ? "no answer came" : trouble)}));
  };
  const auto work = [&](std::size_t i) {
    limit_threads(std::max<std::size_t>(1, cores / limits.jobs));
    return answer_to(cases[i]);
  };
  return run_apart(cases.size(), limits, work, done);
}

Result<Answers> answers_for(const Options& given) {
  if (given.go_on.empty()) return Answers::to_standard_output();
  return Answers::go_on(given.go_on);
}

Outcome batch(const Options& given) {
  const bool piped = given.list == "-";
  const auto text = text_of_file(piped ? "/dev/stdin" : given.list, "the list");
  if (!text) return text.error();
  auto answers = answers_for(given);
  if (!answers) return answers.error();
  std::vector<ListedCase> cases = cases_of_list(*text, piped ? "standard input" : given.list);
  Count count;
  count.before = std::erase_if(cases, [&](const ListedCase& listed) { return answers->has(listed.name); });
  const std::size_t jobs = given.jobs > 0 ? given.jobs : cores_allowed();
  if (auto error = answer_all(cases, {jobs, std::chrono::seconds(given.limit)}, *answers, count))
    return error;
  fmt::print(stderr, "{} {} answered, {} of them with an error; {} answered before.\n", count.answered,
             count.answered == 1 ? "case" : "cases", count.failed, count.before);
  return std::nullopt;
}

}  // namespace

void add_batch(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("batch", "diagnose many road tests, a line of JSON each");
  command
      ->add_option("list", given->list,
                   "a road-test file per line, or a JSON object per line; - for standard input")
      ->required()
      ->type_name("LIST");
  command
      ->add_option("--go-on", given->go_on,
                   "append the answers to FILE instead of printing them, and pass over the cases that it "
                   "answers already")
      ->type_name("FILE");
  command->add_option("--jobs", given->jobs, "cases at a time; as many as there are cores when left out")
      ->type_name("N")
      ->check(CLI::Range(1, 1024));
  command
      ->add_option(
          "--limit", given->limit,
          "seconds that one case may take; what takes longer is answered with an error (1800); 0: no "
          "limit")
      ->type_name("SECONDS")
      ->check(CLI::Range(0, 1'000'000));
  command->footer(
      "A line of JSON is one of\n"
      "  {\"case\": \"heron 12\", \"road_test\": \"heron/ROADTEST.toml\"}\n"
      "  {\"case\": \"heron 13\", \"car\": \"heron.toml\", \"recording\": [{\"file\": \"a.m4a\", \"gear\": "
      "3,\n"
      "    \"load\": \"drive\", \"speed\": \"65 km/h\"}]}\n"
      "Answers come as they are ready. One that can't be given has \"error\" instead of \"diagnosis\" and "
      "stops\n"
      "no other.\n"
      "Example:\n"
      "  gearhark batch cases.txt --go-on answers.jsonl");
  command->callback([given, &chosen] { chosen = [given] { return batch(*given); }; });
}

}  // namespace gearhark::cli
