// What outsiders must not guess.
#pragma once

#include <string>
#include <string_view>

namespace gearhark::workbench {

// 32 hexadecimal digits of the kernel's random numbers.
std::string random_token();

// Two groups of four letters and digits that can't be misread, "K7QM-3XWT": 39 bits.
std::string pairing_code();

// Takes the same time wherever they differ.
bool same_secret(std::string_view a, std::string_view b);

}  // namespace gearhark::workbench
