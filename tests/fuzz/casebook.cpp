// Any text is a casebook export or is refused in one sentence; whatever is read can be kept, counted and
// printed.
#include "gearhark/report/casebook.hpp"

#include <cstddef>
#include <cstdint>
#include <cstdlib>

using namespace gearhark;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto cases = read_casebook({reinterpret_cast<const char*>(data), size}, "fuzz");
  if (!cases) return cases.error().sentence.empty() ? std::abort(), 0 : 0;
  auto book = Casebook::open(":memory:", Casebook::IfMissing::create);
  if (!book) std::abort();
  if (const auto fresh = book->import(*cases); !fresh)
    return fresh.error().sentence.empty() ? std::abort(), 0 : 0;
  const auto kept = book->all();
  const auto tally = book->tally();
  if (!kept || !tally) std::abort();
  for (const Case& one : *kept)
    if (case_text(one).empty()) std::abort();
  // What was kept can be carried to the next book.
  if (!read_casebook(casebook_json(*kept), "again")) std::abort();
  static_cast<void>(tally_text(*tally));
  return 0;
}
