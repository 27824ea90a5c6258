// The one way in which text from outside (car files, road tests, prices, speed logs, JSON) is read from disk.
#pragma once

#include <string>
#include <string_view>

#include "gearhark/units/result.hpp"

namespace gearhark {

// All of a file. `what` names it in messages: "the car file". Pipes are read too, endless ones (/dev/zero) up
// to 256 MB. Errors: missing, a folder, longer than that, a disk that gives up half way.
Result<std::string> text_of_file(const std::string& path, std::string_view what);

}  // namespace gearhark
