// What the evidence says of invented road tests (invented.hpp): the data that the ranking's weights are
// fitted to.
//   calibration_features FIRST COUNT   cases FIRST .. FIRST+COUNT-1, CSV on standard output
#include <fmt/format.h>

#include <cstdio>

#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/diagnosis/ranking.hpp"
#include "invented.hpp"

namespace {

using namespace gearhark;
using namespace gearhark::calibration;

constexpr double left_out_of_car_file = 0.05;

void leave_out(Car& car, const std::string& part) {
  std::erase_if(car.parts, [&](const Part& p) { return p.id == part; });
  std::erase_if(car.bearings, [&](const Bearing& b) { return b.id == part; });
}

void print_case(std::uint64_t seed) {
  Draw draw(seed);
  const Car car = random_car(1000 + seed);
  const auto fault = draw_fault(car, draw);
  const double needle = draw.between(1.0, 1.08);
  Phone phone;
  phone.gain = draw.happens(0.3) ? GainControl::automatic : GainControl::fixed;
  std::vector<RunSound> sounds;
  const std::size_t runs = 1 + draw.below(4);
  for (std::size_t r = 0; r < runs; ++r) {
    SoundSettings settings{draw_run(car, draw), fault, {}, phone, seed, 100 * seed + r};
    auto sound = recorded(car, settings, needle);
    if (!sound) {
      fmt::print(stderr, "case {}: {}\n", seed, sound.error().sentence);
      return;
    }
    sounds.push_back(*std::move(sound));
  }
  Car told = car;
  const bool unlisted = fault && car.bearing(fault->part) && draw.happens(left_out_of_car_file);
  if (unlisted) leave_out(told, fault->part);
  const std::string truth = !fault ? "none" : unlisted ? "unlisted" : fault->part;
  const std::string what =
      fault ? fmt::format("{},{:.1f}", to_text(fault->fault), fault->level.value()) : ",";
  for (const Candidate& c : hear(told, sounds).candidates)
    if (c.turned && !c.healthy)
      fmt::print("{},{},{},{},{},{},{:.2f},{},{:.2f},{:.2f}\n", seed, truth, what,
                 c.unlisted() ? "unlisted" : c.part, to_text(c.fault),
                 static_cast<int>(evidence_class(c, told)), heard(c) - c.against,
                 static_cast<int>(c.knowledge), c.against, c.behind);
}

}  // namespace

int main(int count, char** words) { return print_cases(count, words, print_case); }
