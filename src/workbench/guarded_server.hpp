// The HTTP library's server on connections that can't be held for ever: the head of a request has a size and
// a time, its body a least speed, and what is refused is not read on.
#pragma once

#include <httplib.h>

#include <chrono>
#include <cstddef>
#include <memory>
#include <string>

namespace gearhark::workbench {

struct Patience {
  std::chrono::milliseconds head{10000};     // for all of a request's head
  std::chrono::milliseconds silence{10000};  // within a body, or while the client takes nothing
  std::size_t longest_head = 16384;          // bytes
  double least_speed = 20e3;  // bytes per second of a body, on average, once `silence` has passed
};

class GuardedServer : public httplib::Server {
 public:
  explicit GuardedServer(Patience patience);
  // To be called once the port is bound.
  void widen_queue();
  // From here on https is spoken, as `address` ("192.168.1.20:8443"); plain requests are pointed there.
  void use_https(std::shared_ptr<ssl_ctx_st> context, std::string address);
  // To be called first by the handler before routing: from here on the limits of the body count.
  static void head_is_read();
  // The connection is closed after this answer: what follows on it is not read as another request.
  static void close_after_answer();

 private:
  bool process_and_close_socket(int socket) override;
  Patience patience_;
  std::shared_ptr<ssl_ctx_st> tls_;  // nothing: plain HTTP
  std::string address_;
};

}  // namespace gearhark::workbench
