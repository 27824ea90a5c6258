// What every page has: head with its policy, style, script, and the licence of what it holds.
#pragma once

#include <string>
#include <vector>

namespace gearhark::report {

enum class Charts { none, interactive };  // whether the chart library is put in

struct Chapter {
  std::string id, heading;  // heading: text
  std::string body;         // markup
};

struct Page {
  std::string title;                                    // text
  std::string kind;                                     // "Noise diagnosis", ...: text
  std::string car;                                      // text
  std::string first;                                    // markup of the first screen
  std::string made_from = "the recordings named here";  // text
  std::vector<Chapter> chapters;
  std::string json;          // the machine form
  std::string drawn = "{}";  // JSON: what the interactive charts draw
  Charts charts = Charts::none;
};

// One file that asks for nothing else. The policy lets run only the very script, and apply only the very
// style, that the program put in (by their SHA-256), and allows no connection at all.
std::string to_html(const Page& page);

}  // namespace gearhark::report
