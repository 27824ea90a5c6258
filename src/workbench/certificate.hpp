// The certificate with which the phones' side is served over https. No authority knows it: it is made here,
// for one address, and kept, so that a phone is asked once whether it may be trusted.
#pragma once

#include <filesystem>
#include <memory>
#include <string>

#include "gearhark/units/result.hpp"

struct ssl_ctx_st;

namespace gearhark::workbench {

struct Certificate {
  std::shared_ptr<ssl_ctx_st> context;  // TLS 1.2 and later, with key and certificate
  std::string fingerprint;              // SHA-256, "AB:CD:...", as phones show it
};

// From `folder`/https_ADDRESS.pem, which its owner alone can read (mode 0600); made there first where it is
// missing, can't be read, is open to others, ends within a day or is for another address. Error: the folder
// can't be written.
Result<Certificate> certificate_for(const std::string& address, const std::filesystem::path& folder);

}  // namespace gearhark::workbench
