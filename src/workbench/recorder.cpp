#include "gearhark/workbench/recorder.hpp"

#include <fmt/format.h>
#include <openssl/evp.h>

#include <array>
#include <stdexcept>

#include "page_files.hpp"

namespace gearhark {
namespace {

std::string_view part(std::string_view name) {
  for (const auto& file : workbench::page_files())
    if (file.name == name) return file.text;
  throw std::logic_error("the recorder page lacks a part");
}

// The page's script is one, so that one hash names it. In the order of use.
std::string script() {
  std::string out = "\"use strict\";\n(function () {\n";
  for (const char* name :
       {"recorder_dom.js", "recorder_zip.js", "recorder_bundle.js", "recorder_sound.js", "recorder_speed.js",
        "recorder_plan.js", "recorder_taps.js", "recorder_kept.js", "recorder.js"})
    out += part(name);
  return out + "})();\n";
}

// 'sha256-...', as a policy names a script or style that stands in its page.
std::string named(std::string_view text) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest;
  unsigned int length = 0;
  if (EVP_Digest(text.data(), text.size(), digest.data(), &length, EVP_sha256(), nullptr) != 1)
    throw std::runtime_error("no SHA-256");
  std::array<unsigned char, 2 * EVP_MAX_MD_SIZE> letters;
  const int count = EVP_EncodeBlock(letters.data(), digest.data(), static_cast<int>(length));
  return fmt::format("'sha256-{}'", std::string_view(reinterpret_cast<const char*>(letters.data()),
                                                     static_cast<std::size_t>(count)));
}

void put(std::string& page, std::string_view place, std::string_view text) {
  page.replace(page.find(place), place.size(), text);
}

}  // namespace

std::string recorder_page(ServedBy by) {
  const std::string code = script(), style = fmt::format("{}{}{}", part("page.css"), part("workbench.css"),
                                                         part("recorder.css"));
  std::string page(part("recorder.html"));
  // Blobs: the two scripts that run in threads of their own are such, made from the page's own text; data,
  // where the page was opened from a file.
  put(page, "{{policy}}",
      fmt::format("default-src 'none'; script-src {} blob: data:; worker-src 'self' blob:; style-src {}; "
                  "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'",
                  named(code), named(style)));
  put(page, "{{workbench}}", by == ServedBy::workbench ? "<meta name=\"workbench\" content=\"here\">\n" : "");
  put(page, "{{style}}", style);
  put(page, "{{worklet}}", part("recorder_worklet.js"));
  put(page, "{{store}}", part("recorder_store.js"));
  put(page, "{{script}}", code);
  return page;
}

std::string_view recorder_offline() { return part("recorder_offline.js"); }

}  // namespace gearhark
