// A QR code as rows of dark (1) and light (0) squares, without its quiet zone.
#pragma once

#include <string>
#include <vector>

namespace gearhark::workbench {

// Empty: `text` is too long for one.
std::vector<std::string> qr_rows(const std::string& text);

}  // namespace gearhark::workbench
