// Which judgement this program gives: bumped, with a dated reason, whenever a golden verdict moves
// (tests/golden/verdicts.json).
#pragma once

namespace gearhark {

inline constexpr int conformance = 14;

}  // namespace gearhark
