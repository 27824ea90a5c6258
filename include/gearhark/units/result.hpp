// What a function returns wherever outside data enters: a value, or one error that a person can act on.
#pragma once

#include <string>
#include <utility>
#include <variant>

namespace gearhark {

// `usage`: the command line is wrong (exit code 2). `input`: what it names can't be used (exit code 1).
enum class ErrorKind { input, usage };

// One sentence that names the file, the place in it, what was found and the cure.
struct Error {
  std::string sentence;
  ErrorKind kind = ErrorKind::input;
};

template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : held_(std::move(value)) {}      // NOLINT: so that a stage can just return its product
  Result(Error error) : held_(std::move(error)) {}  // NOLINT
  [[nodiscard]] explicit operator bool() const { return held_.index() == 0; }
  [[nodiscard]] T& operator*() & { return std::get<0>(held_); }
  [[nodiscard]] const T& operator*() const& { return std::get<0>(held_); }
  [[nodiscard]] T&& operator*() && { return std::get<0>(std::move(held_)); }
  [[nodiscard]] T* operator->() { return &std::get<0>(held_); }
  [[nodiscard]] const T* operator->() const { return &std::get<0>(held_); }
  [[nodiscard]] const Error& error() const { return std::get<1>(held_); }

 private:
  std::variant<T, Error> held_;
};

}  // namespace gearhark
