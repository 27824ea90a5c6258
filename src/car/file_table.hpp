// A TOML table that knows its file: look-ups by key that end in one sentence with the place when something is
// wrong.
#pragma once

#include <toml++/toml.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/units/files.hpp"

namespace gearhark::car_file {

// Thrown inside the reader only; read_car turns it into a Result.
struct Mistake {
  Error error;
};

class Table {
 public:
  // Throws at the first key that is not in `keys`, naming the nearest one that is. `what` names the table in
  // messages.
  Table(const toml::table& table, std::string_view file, std::string what,
        std::vector<std::string_view> keys);

  [[nodiscard]] bool has(std::string_view key) const { return table_->contains(key); }
  // `expected` is how the message says what should stand there.
  [[nodiscard]] std::optional<std::string> text(std::string_view key,
                                                std::string_view expected = "text in quotation marks") const;
  [[nodiscard]] std::string need_text(std::string_view key) const;
  // A word out of a list, by its place in it; `otherwise` when the key is missing.
  [[nodiscard]] std::size_t word(std::string_view key, const std::vector<std::string_view>& words,
                                 std::size_t otherwise) const;
  [[nodiscard]] std::optional<int> whole(std::string_view key, int low, int high) const;
  [[nodiscard]] int need_whole(std::string_view key, int low, int high) const;
  [[nodiscard]] std::optional<double> number(std::string_view key, double low, double high) const;
  [[nodiscard]] bool yes(std::string_view key) const;
  [[nodiscard]] std::optional<WrittenLength> length(std::string_view key) const;  // "12.7 mm"
  [[nodiscard]] std::optional<double> share(std::string_view key) const;          // "2 %" -> 0.02
  struct StatedRatio {
    double value, relative_tolerance;
  };
  // 4.11 or "4.11": the tolerance is half a unit of the last digit.
  [[nodiscard]] std::optional<StatedRatio> ratio(std::string_view key) const;
  // "3" or 3; gears are written either way.
  [[nodiscard]] std::optional<std::string> gear(std::string_view key) const;
  [[nodiscard]] std::vector<std::string> gears(std::string_view key) const;
  [[nodiscard]] std::optional<Table> table(std::string_view key, std::string what,
                                           std::vector<std::string_view> keys) const;
  // [[key]]; a plain [key] counts as a list of one.
  [[nodiscard]] std::vector<Table> tables(std::string_view key, const std::string& what,
                                          const std::vector<std::string_view>& keys) const;
  [[nodiscard]] std::vector<std::string> texts(std::string_view key) const;

  [[nodiscard]] toml::source_position place() const { return table_->source().begin; }
  [[nodiscard]] toml::source_position place(std::string_view key) const;
  [[noreturn]] void fail(toml::source_position at, const std::string& sentence) const;
  [[noreturn]] void fail(std::string_view key, const std::string& sentence) const {
    fail(place(key), sentence);
  }
  [[nodiscard]] const std::string& what() const { return what_; }

 private:
  [[noreturn]] void wrong_type(std::string_view key, std::string_view expected) const;
  [[noreturn]] void missing(std::string_view key) const;
  const toml::table* table_;
  std::string_view file_;
  std::string what_;
};

std::string placed(std::string_view file, toml::source_position at, const std::string& sentence);
// The word of the list with the fewest letters to change; "" when none is near.
std::string nearest(std::string_view word, const std::vector<std::string_view>& words);
std::string listed(const std::vector<std::string_view>& words);

}  // namespace gearhark::car_file
