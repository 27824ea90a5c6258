// Which uploads look like sound at all. Whether they are is for the child to find out.
#pragma once

#include <string>
#include <string_view>

namespace gearhark::workbench {

// By the first bytes (12 or more where there are as many).
bool looks_like_sound(std::string_view first_bytes);

// The ending for a file of the server's own: that of the client's name where it is a known one, else ".bin".
// Never anything of the client's own making.
std::string_view known_ending(std::string_view client_name);

// ".gpx", ".nmea", ".csv", by the end of a speed log's name; "": neither.
std::string_view known_log(std::string_view client_name);

// How a browser is told what the file is.
std::string_view media_type(std::string_view ending);

}  // namespace gearhark::workbench
