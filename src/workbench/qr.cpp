#include "qr.hpp"

#include <qrencode.h>

#include <memory>

namespace gearhark::workbench {

std::vector<std::string> qr_rows(const std::string& text) {
  const std::unique_ptr<QRcode, decltype(&QRcode_free)> code(
      QRcode_encodeString(text.c_str(), 0, QR_ECLEVEL_M, QR_MODE_8, 1), QRcode_free);
  std::vector<std::string> rows;
  for (int y = 0; code && y < code->width; ++y) {
    std::string row;
    for (int x = 0; x < code->width; ++x) row += code->data[y * code->width + x] & 1 ? '1' : '0';
    rows.push_back(row);
  }
  return rows;
}

}  // namespace gearhark::workbench
