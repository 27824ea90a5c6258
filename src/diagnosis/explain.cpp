#include "gearhark/diagnosis/explain.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "gearhark/units/text.hpp"

namespace gearhark {
namespace {

struct FaultWords {
  Fault fault;
  const char* sound;  // what people call it
};
constexpr std::array<FaultWords, 11> fault_words = {{
    {Fault::outer_race, "a steady growl"},
    {Fault::inner_race, "a growl that swells and fades each turn"},
    {Fault::rolling_element, "a rough rumble"},
    {Fault::cage, "a low flutter"},
    {Fault::worn_teeth, "a whine with a beat in it once per turn of the worn gear"},
    {Fault::chipped_tooth, "a tick once per turn"},
    {Fault::out_of_balance, "a boom once per turn"},
    {Fault::worn_joint, "a rumble in step with its shaft"},
    {Fault::dry_joint, "a squeak or knock in step with its shaft"},
    {Fault::uneven_wear, "a rumble made of many wheel-speed notes"},
    {Fault::worn_machine, "a whirr"},
}};

std::string ordinal(double harmonic) {
  if (harmonic == 0.5) return "half";
  if (harmonic == 1.5) return "one and a half";
  const int n = static_cast<int>(std::lround(harmonic));
  const std::array<const char*, 4> endings = {"th", "st", "nd", "rd"};
  return fmt::format("{}{}", n,
                     n % 10 < 4 && (n < 10 || n > 20) ? endings[static_cast<std::size_t>(n % 10)] : "th");
}

std::string sound_of(Fault fault) {
  const auto found = std::find_if(fault_words.begin(), fault_words.end(),
                                  [&](const FaultWords& w) { return w.fault == fault; });
  return found == fault_words.end() ? "a noise" : found->sound;
}

std::string shaft_name(const Car& car, const std::string& id) {
  const auto found =
      std::find_if(car.shafts.begin(), car.shafts.end(), [&](const Shaft& s) { return s.id == id; });
  return found == car.shafts.end() || found->name.empty() ? id : found->name;
}

// How many times per turn of the part's own shaft, and what speed it follows.
std::string pace(const Candidate& candidate, const Car& car, const std::vector<HeardRun>& runs) {
  const Bearing* bearing = car.bearing(candidate.part);
  for (std::size_t r = 0; r < runs.size() && bearing; ++r) {
    if (candidate.fundamental[r] <= 0.0) continue;
    const auto shaft = runs[r].rates.find(bearing->shaft);
    if (shaft == runs[r].rates.end()) continue;
    const double own = std::max(std::abs(shaft->second.wheel), std::abs(shaft->second.engine));
    if (own > 0.0)
      return fmt::format("{:.2f} per turn of the {}", candidate.fundamental[r] * (1.0 + candidate.slip) / own,
                         shaft_name(car, bearing->shaft));
  }
  return {};
}

std::string band(const Candidate& candidate) {
  return fmt::format("loudest between {:.1f} and {:.1f} kHz", candidate.band_low.value() / 1000.0,
                     candidate.band_high.value() / 1000.0);
}

}  // namespace

std::string words_for_line(const Candidate& candidate, const SeenLine& line) {
  if (candidate.kind == EvidenceKind::tyre_orders)
    return fmt::format("{} per wheel turn", std::lround(line.harmonic));
  const bool mesh = candidate.kind == EvidenceKind::mesh_sidebands;
  std::string words =
      line.harmonic == 0.0
          ? std::string("cage")
          : fmt::format("{}, {} harmonic", mesh ? "mesh" : to_text(candidate.fault), ordinal(line.harmonic));
  if (line.side != 0)
    words += fmt::format(", {} turn{} {}", std::abs(line.side), std::abs(line.side) == 1 ? "" : "s",
                         line.side < 0 ? "below" : "above");
  return words;
}

std::string describe(const Candidate& candidate, const Car& car, const std::vector<HeardRun>& runs) {
  std::string words = sound_of(candidate.fault);
  switch (candidate.kind) {
    case EvidenceKind::events: {
      const std::string per_turn = pace(candidate, car, runs);
      if (!per_turn.empty()) words += ", " + per_turn;
      words += ", " + band(candidate);
      break;
    }
    case EvidenceKind::mesh_sidebands:
      words += fmt::format(", pairs of sidebands close to it {:.0f} dB above those further off, on average",
                           candidate.level);
      break;
    case EvidenceKind::tyre_orders:
      if (!candidate.fundamental.empty())
        words += fmt::format(", strongest about {:.0f} times per wheel turn", candidate.fundamental.front());
      break;
    case EvidenceKind::joint_orders:
      words += fmt::format(", {:.0f} dB above the background", candidate.level);
      break;
  }
  return fmt::format("{}: {} of the {}", words, to_text(candidate.fault), part_name(car, candidate.part));
}

std::vector<EvidenceItem> items_of(const Candidate& candidate, const std::vector<int>& index) {
  std::vector<EvidenceItem> items;
  for (const SeenLine& line : candidate.lines)
    items.push_back({index[line.run], words_for_line(candidate, line), line.order, line.engine_bound,
                     line.frequency, line.above_background, line.chance, line.chance < shown_chance});
  return items;
}

bool hurts_to_drive_on(PartRole role) {
  return role == PartRole::wheel_bearing || role == PartRole::joint || role == PartRole::propshaft ||
         role == PartRole::tyre || role == PartRole::centre_bearing;
}

std::string reason_heard(const std::vector<Suspect>& suspects) {
  constexpr double not_ruled_out = 0.15;
  const auto name_of = [](const Suspect& s) { return s.name.empty() ? s.part : s.name; };
  const Suspect& first = suspects.front();
  std::string reason = fmt::format("The {} is the likeliest source ({} %): {}.", name_of(first),
                                   whole_percent(first.probability), first.in_words);
  if (suspects.size() > 1 && suspects[1].probability.value() >= not_ruled_out)
    reason += fmt::format(" The {} ({} %) is not ruled out.", name_of(suspects[1]),
                          whole_percent(suspects[1].probability));
  return reason;
}

std::string reason_silent() {
  return "None of the parts in the car file sounds like a fault in these recordings. That is no proof that "
         "there is none: "
         "what is not loud enough for the phone is not heard.";
}

std::string reason_unconfirmed() {
  return "In no recording does the sound confirm the stated gear and speed, so what was heard can't be "
         "pinned to a part. Check gear, speed and car file, or record a steady run in gear, above 25 km/h "
         "(15 mph) and pulling lightly.";
}

std::string reason_unsure(const Suspect& first) {
  return fmt::format(
      "Something was heard, but not enough to name a part: the first suspect, the {}, reaches only {:.0f} %.",
      first.name.empty() ? first.part : first.name, 100.0 * first.probability.value());
}

std::string reason_unexplained(const Candidate& unlisted, const std::vector<HeardRun>& runs) {
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (unlisted.fundamental[r] <= 0.0) continue;
    const Order order(unlisted.fundamental[r] * (1.0 + unlisted.slip));
    return fmt::format(
        "A regular noise was heard, {:.2f} times per wheel turn ({:.1f} Hz in recording {}), {}, that no "
        "part "
        "in the car file explains. A part may be missing there, or a count or size be wrong.",
        order.value(), (order * runs[r].wheel_rate).value(), r + 1, band(unlisted));
  }
  return {};
}

std::string reason_no_speed(const std::vector<RunReport>& runs, double usable_s) {
  const auto lost = std::count_if(runs.begin(), runs.end(),
                                  [](const RunReport& r) { return r.tracking.certainty == Certainty::lost; });
  if (lost > 0)
    return fmt::format(
        "In {} of {} recordings the sound does not support the stated speed and gear, so no part's lines can "
        "be placed.",
        lost, runs.size());
  return fmt::format("Only {:.0f} s of usable sound: too little to tell.", usable_s);
}

std::vector<std::string> cautions_for(const Diagnosis& diagnosis, const Car& car) {
  constexpr double worth_a_caution = 0.15;
  std::vector<std::string> suspects;
  for (const Suspect& suspect : diagnosis.suspects)
    if (suspect.probability.value() > worth_a_caution) suspects.push_back(suspect.part);
  return cautions_about(car, suspects);
}

std::vector<std::string> cautions_about(const Car& car, const std::vector<std::string>& suspects) {
  std::vector<std::string> cautions;
  for (const std::string& suspect : suspects) {
    const Part* part = car.part(suspect);
    if (part && hurts_to_drive_on(part->role))
      cautions.push_back(
          fmt::format("The {} is among the suspects: check it for play before the car is driven again; "
                      "if it is loose, do not road-test.",
                      part_name(car, suspect)));
  }
  cautions.emplace_back(
      "A sound is no inspection. This result says what was heard, never that a part is fit for the road; "
      "local law and the judgement of a licensed workshop come first.");
  return cautions;
}

}  // namespace gearhark
