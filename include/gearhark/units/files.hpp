// The ways in which text from outside is read from disk, and anything is written to it.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "gearhark/units/result.hpp"

namespace gearhark {

// All of a file. `what` names it in messages: "the car file". Pipes are read too, endless ones (/dev/zero) up
// to 256 MB. Errors: missing, a folder, longer than that, a disk that gives up half way.
Result<std::string> text_of_file(const std::string& path, std::string_view what);

// Writes beside the file ("NAME.123.part"), waits until it is on the disk and renames: the file is the old
// one or the whole new one, whenever the program is stopped. Devices and pipes are written to as they are.
// Error: the file can't be written; nothing is left then.
std::optional<Error> write_file(const std::string& path, std::string_view bytes);

// All bytes into an open file. 0, or the errno of what went wrong.
int write_all(int file, std::string_view bytes);

}  // namespace gearhark
