// The recorder: a page for a phone that records a road test, sound, speed and taps on one clock, into one
// file.
#pragma once

#include <string>
#include <string_view>

namespace gearhark {

enum class ServedBy { anyone, workbench };

// One file that asks nothing of any other address: style and scripts stand in it, and its policy lets in
// nothing else. Phones give the microphone to pages from https alone. Served by the workbench it can send
// there.
std::string recorder_page(ServedBy by);

// A second file, "recorder_offline.js", for beside the page on the host that serves it: with it the page
// opens without a network once it was opened with one.
std::string_view recorder_offline();

}  // namespace gearhark
