// Where a batch's answers go: a line at a time, each written in one piece.
#pragma once

#include <set>
#include <string>

#include "commands.hpp"

namespace gearhark::cli {

class Answers {
 public:
  static Answers to_standard_output() { return Answers("standard output", 1); }
  // Goes on in a file that an earlier batch wrote, or starts it: a last line that was torn off is taken away.
  // Errors: not writable, held by another batch, lines that are no answers.
  static Result<Answers> go_on(const std::string& path);

  Answers(Answers&& other) noexcept;
  Answers& operator=(Answers&&) = delete;
  ~Answers();
  [[nodiscard]] bool has(const std::string& name) const { return answered_.contains(name); }
  // A line that can't be written whole is taken away again where that is possible.
  Outcome add(const std::string& line);

 private:
  Answers(std::string path, int file) : path_(std::move(path)), file_(file) {}
  Outcome take_stock();
  std::string path_;
  int file_;
  std::set<std::string> answered_;
};

}  // namespace gearhark::cli
