// The phones' side: a second server on the workshop's network that takes recordings from paired phones and
// does nothing else.
#pragma once

#include <chrono>
#include <mutex>
#include <set>
#include <string>

#include "answers.hpp"
#include "guarded_server.hpp"

namespace gearhark::workbench {

class Phones {
 public:
  // `address`: "192.168.1.20:8123", as phones reach it. `fingerprint`: of the certificate; "": plain HTTP.
  explicit Phones(std::string address, std::string fingerprint = "");

  // {"address", "fingerprint", "code", "qr": rows}; the code is null once it was closed by wrong tries.
  Json invitation();
  // A new code; phones that were paired stay so.
  void renew();
  // A phone's token; "": the code is wrong or closed.
  std::string pair(const std::string& code);
  bool known(const std::string& token);
  [[nodiscard]] const std::string& address() const { return address_; }
  [[nodiscard]] const std::string& fingerprint() const { return fingerprint_; }
  [[nodiscard]] std::string scheme() const { return fingerprint_.empty() ? "http" : "https"; }

 private:
  const std::string address_, fingerprint_;
  std::mutex mutex_;
  std::string code_;
  int wrong_tries_ = 0;
  std::set<std::string> tokens_;
};

void set_up_phones(GuardedServer& server, Bench& bench, Phones& phones);

// The first IPv4 address of this machine that is not loopback; "": none.
std::string own_address();

}  // namespace gearhark::workbench
