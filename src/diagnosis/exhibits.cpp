#include "gearhark/diagnosis/exhibits.hpp"

namespace gearhark {

Exhibits exhibits(const Car&, const std::vector<RunSound>&, const Hearing&, const Diagnosis&) { return {}; }

}  // namespace gearhark
