#include <fmt/format.h>

#include <charconv>

#include "../car/file_table.hpp"
#include "gearhark/repair/decide.hpp"

namespace gearhark {
namespace {

using car_file::Mistake;
using car_file::placed;
using car_file::Table;

constexpr double dearest = 1e9, longest = 1e5;

class Reader {
 public:
  Reader(const toml::table& root, std::string_view file, const Car& car)
      : top_(root, file, "the prices file",
             {"currency", "hour", "unit", "rebuild", "used_unit", "bearing", "drive_on", "elsewhere"}),
        car_(car) {}

  Prices read() {
    out_.currency = top_.text("currency").value_or(out_.currency);
    out_.hour = need_number(top_, "hour");
    if (top_.has("unit")) out_.unit = parts(top_, "unit");
    const auto rebuild = top_.table("rebuild", "[rebuild]", {"price", "hours"});
    if (!rebuild) top_.fail(top_.place(), "the prices file has no [rebuild]; add it with price and hours");
    out_.rebuild = job(*rebuild);
    used_unit();
    for (const Table& t : top_.tables("bearing", "[[bearing]]", {"parts", "price", "hours"}))
      out_.bearings.push_back({parts(t, "parts"), job(t)});
    drive_on();
    if (const auto t = top_.table("elsewhere", "[elsewhere]", {"price", "hours"})) out_.elsewhere = job(*t);
    return std::move(out_);
  }

 private:
  static double need_number(const Table& t, std::string_view key) {
    const auto value = t.number(key, 0.0, dearest);
    if (!value) t.fail(t.place(), fmt::format("{} has no \"{}\"; add it as a number", t.what(), key));
    return *value;
  }
  static Job job(const Table& t) {
    return {need_number(t, "price"), t.number("hours", 0.0, longest).value_or(0.0)};
  }

  // "25 %". Up to the highest chance that can be reckoned with.
  static Probability chance(const Table& t, std::string_view key, double highest) {
    const auto text = t.text(key, "a chance in quotation marks, such as \"20 %\"");
    if (!text)
      t.fail(t.place(), fmt::format("{} has no \"{}\"; add it, such as {} = \"20 %\"", t.what(), key, key));
    double percent = -1.0;
    const auto [end, error] = std::from_chars(text->data(), text->data() + text->size(), percent);
    const std::string_view unit(end, static_cast<std::size_t>(text->data() + text->size() - end));
    if (error != std::errc{} || unit.find_first_not_of(" %") != std::string_view::npos ||
        unit.find('%') == std::string_view::npos || !(percent >= 0.0 && percent <= 100.0 * highest))
      t.fail(key,
             fmt::format("\"{}\" of {} is \"{}\"; write a chance between 0 % and {:g} %, such as \"20 %\"",
                         key, t.what(), *text, 100.0 * highest));
    return Probability(percent / 100.0);
  }

  [[nodiscard]] std::vector<std::string> parts(const Table& t, std::string_view key) const {
    std::vector<std::string> ids = t.texts(key);
    if (ids.empty())
      t.fail(t.has(key) ? t.place(key) : t.place(),
             fmt::format("{} names no part; add {} = [\"pinion_head_bearing\"] with part IDs of the car file",
                         t.what(), key));
    std::vector<std::string_view> known;
    for (const Part& part : car_.parts) known.push_back(part.id);
    for (const std::string& id : ids) {
      if (car_.part(id)) continue;
      const std::string near = car_file::nearest(id, known);
      t.fail(key, fmt::format("the car has no part \"{}\"; {}", id,
                              near.empty() ? "its parts are " + car_file::listed(known)
                                           : fmt::format("did you mean \"{}\"?", near)));
    }
    return ids;
  }

  void used_unit() {
    const auto t = top_.table("used_unit", "[used_unit]", {"price", "hours", "bad"});
    if (!t) return;
    // Were all of them bad, no number of tries would do.
    out_.used_unit = Prices::UsedUnit{job(*t), chance(*t, "bad", 0.99)};
  }
  void drive_on() {
    const auto t = top_.table("drive_on", "[drive_on]", {"price", "hours", "worse", "failure"});
    if (!t) return;
    out_.drive_on = DriveOn{
        {t->number("price", 0.0, dearest).value_or(0.0), t->number("hours", 0.0, longest).value_or(0.0)},
        chance(*t, "worse", 1.0),
        need_number(*t, "failure")};
  }

  Table top_;
  const Car& car_;
  Prices out_;
};

}  // namespace

Result<Prices> read_prices(std::string_view toml_text, std::string_view file, const Car& car) {
  try {
    const toml::table root = toml::parse(toml_text, file);
    return Reader(root, file, car).read();
  } catch (const toml::parse_error& e) {
    return Error{placed(
        file, e.source().begin,
        fmt::format("this is not TOML ({}); README.md shows how a prices file is written", e.description()))};
  } catch (const Mistake& m) {
    return m.error;
  }
}

Result<Prices> load_prices(const std::string& path, const Car& car) {
  const auto text = text_of_file(path, "the prices file");
  if (!text) return text.error();
  return read_prices(*text, path, car);
}

}  // namespace gearhark
