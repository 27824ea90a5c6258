#include "gearhark/report/listen.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "gearhark/units/text.hpp"
#include "mind.hpp"
#include "wrap.hpp"

namespace gearhark {

using report::wrapped;

std::string listening_text(const Listening& l, const WrittenSounds& files) {
  std::string out = wrapped("", fmt::format("{}, {} ({} %), in run {}", l.name.empty() ? l.part : l.name,
                                            to_text(l.fault), whole_percent(l.probability), l.run + 1));
  out += wrapped("  ", fmt::format("{}: {:.0f} to {:.0f} Hz alone, {} orders of healthy tones taken out{}",
                                   files.alone, l.low.value(), l.high.value(), l.notched.size(),
                                   files.half_speed ? "; at half speed, an octave down" : ""));
  if (l.beat.value() > 0.0)
    out +=
        wrapped("  ", fmt::format("louder in step with the knocks, {:.1f} a second, as far as they are there",
                                  l.beat.value()));
  if (!files.imagined.empty())
    out +=
        wrapped("  ", fmt::format("{}: how such a fault could sound on this car in this run, with road noise",
                                  files.imagined)) +
        wrapped("  ", fmt::format("{}: the same without it", files.imagined_alone));
  if (!files.imagined.empty())
    out += wrapped(
        "- ",
        "The imagined sounds are synthesised. They show the rhythm and pitch to listen for, not how loud "
        "or how bright a real one is.");
  return fmt::format("{}\n{}", out, report::mind(l.cautions));
}

std::string listening_json(const Listening& l, const WrittenSounds& files) {
  using Json = nlohmann::ordered_json;
  const auto name = [](const std::string& file) { return file.empty() ? Json(nullptr) : Json(file); };
  const Json out{{"format", "gearhark listening"},
                 {"version", 1},
                 {"part", l.part},
                 {"name", l.name},
                 {"fault", to_text(l.fault)},
                 {"probability", l.probability.value()},
                 {"recording", l.run},
                 {"band_hz", {l.low.value(), l.high.value()}},
                 {"notched_orders", l.notched},
                 {"half_speed", files.half_speed},
                 {"beat_hz", l.beat.value() > 0.0 ? Json(l.beat.value()) : Json(nullptr)},
                 {"alone", files.alone},
                 {"imagined", name(files.imagined)},
                 {"imagined_alone", name(files.imagined_alone)},
                 {"cautions", l.cautions}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
