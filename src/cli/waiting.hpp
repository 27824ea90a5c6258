// What the program is doing, on standard error, for those who wait.
#pragma once

#include <condition_variable>
#include <mutex>
#include <string>
#include <thread>

namespace gearhark::cli {

enum class Stages { passing, listed };

// passing: shows the stage at work and the seconds since the start, from the second second on and only on a
// terminal; leaves nothing behind. listed: a line for each stage, whoever reads.
class Waiting {
 public:
  explicit Waiting(std::string stage, Stages stages = Stages::passing);
  ~Waiting();
  Waiting(const Waiting&) = delete;
  Waiting& operator=(const Waiting&) = delete;
  void now(std::string stage);
  void done();  // before anything is printed

 private:
  void show(const std::stop_token& stop);

  const Stages stages_;
  std::mutex guard_;
  std::condition_variable_any stopped_;
  std::string stage_;
  std::jthread shower_;
};

}  // namespace gearhark::cli
