// Phrases that text and page say alike.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/diagnosis/confirm.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/plan.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark::report {

// Suspects that are explained, and the probability below which one is not worth a row of its own.
inline constexpr std::size_t explained = 3, most_rows = 8;
inline constexpr double worth_a_row = 0.01;
// How many of the suspects get a row in the ranking.
std::size_t rows_of(const Diagnosis& diagnosis);

const std::string& name_of(const Suspect& suspect);
// The name of a part, if it is among the suspects; else its ID.
std::string name_of(const Diagnosis& diagnosis, const std::string& part);
std::string listed(const Diagnosis& diagnosis, const std::vector<std::string>& parts);

// "gear 3, drive, straight"
std::string as_told(const Run& run);
// ", from 0:12 to 0:34"; "" where the whole recording was used.
std::string part_of(const Run& run);
// "12:05", minutes and seconds.
std::string clock(Seconds time);
// " Of the long run only the part from 12:00 to 12:30 is drawn."; empty when all of it is.
std::string only_part_drawn(const std::optional<Stretch>& excerpt);
std::string by_chance(double chance);  // "1 in 260", "< 1 in a million"
std::string stated(const StatedSpeed& speed);
std::string found_speed(const RunReport& run);
// Of the first run: the user's.
SpeedUnit unit_of(const std::vector<RunReport>& runs);
// What the driver does in a proposed run, in words that need no trade.
std::string driving(const NextRun& run, SpeedUnit unit);
// What may be hoped of a plan: a sentence each.
std::vector<std::string> outlook(const Plan& plan);
// What one run says of the suspect, and how loud it would have to be there ("" where nothing was put in).
std::string for_or_against(const ConfirmRun& run);
std::string sensitivity(const ConfirmRun& run);
// "Gear 4, drive, straight, 60 km/h for 30 s. Here ..."
std::string next_run_sentence(const NextRun& run, SpeedUnit unit);

}  // namespace gearhark::report
