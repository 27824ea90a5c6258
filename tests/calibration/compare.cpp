// How often a comparison of road tests before and after a repair is right, and how often its intervals hold
// the true change.
//   calibration_compare FIRST COUNT   cases FIRST .. FIRST+COUNT-1, CSV on standard output
// The cars, faults and runs of invented.hpp. Afterwards the fault is gone (of ten cases five), as it was
// (three) or weaker by 4 to 10 dB (two); most runs are driven again, at about the same speed. Columns: seed;
// part and fault ("none"); its level, dB; what was done ("gone", "as before", or dB); pairs of runs; of the
// part at fault: probability before, heard before and after, change and interval in dB, verdict; verdict on
// the whole and the part it is about.
#include "gearhark/repair/compare.hpp"

#include <fmt/format.h>

#include <cstdio>

#include "invented.hpp"

namespace {

using namespace gearhark;
using namespace gearhark::calibration;

struct Repair {
  std::string words;
  std::optional<SoundFault> left;
};

Repair draw_repair(std::optional<SoundFault> fault, Draw& draw) {
  const double outcome = draw.between(0.0, 1.0);
  if (!fault || outcome < 0.5) return {"gone", {}};
  if (outcome < 0.8) return {"as before", fault};
  const double less = draw.between(4.0, 10.0);
  fault->level = Decibels::already(fault->level.value() - less);
  return {fmt::format("{:.1f}", -less), fault};
}

// As before, about as fast; a run may not be driven again.
std::vector<SoundRun> draw_runs_after(const std::vector<SoundRun>& before, Draw& draw) {
  std::vector<SoundRun> after;
  for (SoundRun run : before) {
    const double faster = draw.between(0.97, 1.03);
    run.speed = Speed(run.speed.value() * faster);
    run.end_speed = Speed(run.end_speed.value() * faster);
    if (!draw.happens(0.25)) after.push_back(run);
  }
  if (after.empty()) after.push_back(before.front());
  return after;
}

bool record(std::vector<RunSound>& out, const Car& car, SoundSettings settings, double needle) {
  auto sound = recorded(car, settings, needle);
  if (!sound) {
    fmt::print(stderr, "case {}: {}\n", settings.car_seed, sound.error().sentence);
    return false;
  }
  out.push_back(*std::move(sound));
  return true;
}

void print_case(std::uint64_t seed) {
  Draw draw(seed);
  const Car car = random_car(1000 + seed);
  const auto fault = draw_fault(car, draw);
  const double needle = draw.between(1.0, 1.08);
  std::vector<SoundRun> driven;
  const std::size_t runs = 1 + draw.below(4);
  for (std::size_t r = 0; r < runs; ++r) driven.push_back(draw_run(car, draw));
  const Repair repair = draw_repair(fault, draw);
  const std::vector<SoundRun> driven_after = draw_runs_after(driven, draw);
  Phone phone;
  std::vector<RunSound> before, after;
  for (std::size_t r = 0; r < driven.size(); ++r)
    if (!record(before, car, {driven[r], fault, {}, phone, seed, 100 * seed + r}, needle)) return;
  phone.level = Decibels::already(draw.between(-32.0, -18.0));
  for (std::size_t r = 0; r < driven_after.size(); ++r)
    if (!record(after, car, {driven_after[r], repair.left, {}, phone, seed, 100 * seed + 50 + r}, needle))
      return;
  const Comparison c = compare(car, before, after);
  PartChange own;
  for (const PartChange& part : c.parts)
    if (fault && part.part == fault->part) own = part;
  fmt::print("{},{},{},{:.1f},{},{},{:.2f},{:.1f},{:.1f},{:.1f},{:.1f},{:.1f},{},{},{}\n", seed,
             fault ? fault->part : "none", fault ? to_text(fault->fault) : "",
             fault ? fault->level.value() : 0.0, fault ? repair.words : "as before", c.pairs.size(),
             own.before.value(), own.heard_before, own.heard_after, own.change_db, own.low_db, own.high_db,
             to_text(own.verdict), to_text(c.verdict), c.part);
}

}  // namespace

int main(int count, char** words) { return print_cases(count, words, print_case); }
