#include "guarded_server.hpp"

#include <arpa/inet.h>
#include <fcntl.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <memory>
#include <utility>

namespace gearhark::workbench {
namespace {

using Clock = std::chrono::steady_clock;
using std::chrono::milliseconds;

constexpr int threads = 128;
constexpr int requests_per_connection = 100;
constexpr int waiting_connections = 1024;
constexpr milliseconds idle{3000};
constexpr milliseconds between_looks{200};  // how often a waiting thread looks whether the server was stopped

// One connection, with what the library asks of it.
class GuardedStream : public httplib::Stream {
 public:
  GuardedStream(int socket, const Patience& patience, const std::atomic<int>& listening)
      : socket_(socket), patience_(patience), listening_(listening) {}

  // Over https, before anything else. False: the client speaks something else, or takes too long.
  bool agree_on_keys(SSL_CTX& context) {
    ::fcntl(socket_, F_SETFL, ::fcntl(socket_, F_GETFL) | O_NONBLOCK);
    tls_.reset(SSL_new(&context));
    if (!tls_ || SSL_set_fd(tls_.get(), socket_) != 1) return false;
    return in_turns([&] { return SSL_accept(tls_.get()); }, began_ + patience_.head) == 1;
  }
  // Whether a client speaks plain HTTP where https is spoken: its first byte is a letter. Waits for that
  // byte.
  bool hears_a_letter() {
    char first = 0;
    return wait(POLLIN, began_ + patience_.head) &&
           ::recv(socket_, &first, 1, MSG_PEEK | MSG_DONTWAIT) == 1 && first >= 'A' && first <= 'Z';
  }
  void say_goodbye() {
    if (tls_) SSL_shutdown(tls_.get());
  }

  // Whether another request has begun within the time that a connection may idle.
  bool begins_request() {
    in_head_ = true;
    taken_ = 0;
    const bool begun =
        next_ < end_ || (tls_ && SSL_pending(tls_.get()) > 0) || wait(POLLIN, Clock::now() + idle);
    began_ = Clock::now();
    return begun;
  }
  void head_is_read() {
    in_head_ = false;
    taken_ = 0;
    began_ = Clock::now();
  }

  [[nodiscard]] bool is_readable() const override { return true; }
  [[nodiscard]] bool is_writable() const override { return true; }

  ssize_t read(char* out, std::size_t size) override {
    if (next_ == end_ && !fill()) return -1;
    const std::size_t count = std::min(size, end_ - next_);
    if (in_head_ && taken_ + count > patience_.longest_head) return -1;
    std::copy_n(buffer_.begin() + static_cast<std::ptrdiff_t>(next_), count, out);
    next_ += count;
    taken_ += count;
    return static_cast<ssize_t>(count);
  }

  ssize_t write(const char* bytes, std::size_t size) override {
    const auto until = Clock::now() + patience_.silence;
    if (!wait(POLLOUT, until)) return -1;
    if (!tls_) return ::send(socket_, bytes, size, MSG_NOSIGNAL | MSG_DONTWAIT);
    const auto count = static_cast<int>(std::min<std::size_t>(size, 1 << 20));
    return in_turns([&] { return SSL_write(tls_.get(), bytes, count); }, until);
  }

  void get_remote_ip_and_port(std::string& ip, int& port) const override { address(::getpeername, ip, port); }
  void get_local_ip_and_port(std::string& ip, int& port) const override { address(::getsockname, ip, port); }
  [[nodiscard]] int socket() const override { return socket_; }

 private:
  bool fill() {
    const auto size = static_cast<int>(buffer_.size());
    if (!tls_ && !wait(POLLIN, deadline())) return false;
    const ssize_t got = tls_
                            ? in_turns([&] { return SSL_read(tls_.get(), buffer_.data(), size); }, deadline())
                            : ::recv(socket_, buffer_.data(), buffer_.size(), MSG_DONTWAIT);
    next_ = 0;
    end_ = got > 0 ? static_cast<std::size_t>(got) : 0;
    return got > 0;
  }

  // A step of TLS, tried again whenever the socket is ready for what it waits for; what the step comes to, or
  // -1.
  template <class Step>
  int in_turns(Step step, Clock::time_point until) {
    for (;;) {
      ERR_clear_error();
      const int done = step();
      if (done > 0) return done;
      const int why = SSL_get_error(tls_.get(), done);
      const bool reads = why == SSL_ERROR_WANT_READ;
      if ((!reads && why != SSL_ERROR_WANT_WRITE) || !wait(reads ? POLLIN : POLLOUT, until)) return -1;
    }
  }

  [[nodiscard]] Clock::time_point deadline() const {
    if (in_head_) return began_ + patience_.head;
    const auto earned =
        milliseconds(static_cast<long>(1e3 * static_cast<double>(taken_) / patience_.least_speed));
    return std::min(Clock::now() + patience_.silence, began_ + patience_.silence + earned);
  }

  bool wait(short what, Clock::time_point until) const {
    while (listening_ >= 0) {
      const auto left = std::chrono::duration_cast<milliseconds>(until - Clock::now());
      if (left.count() < 0) return false;
      pollfd on{socket_, what, 0};
      const int ready = ::poll(&on, 1, static_cast<int>(std::min(left, between_looks).count()) + 1);
      if (ready > 0) return (on.revents & what) != 0;
      if (ready < 0 && errno != EINTR) return false;
    }
    return false;
  }

  template <class Name>
  void address(Name name, std::string& ip, int& port) const {
    sockaddr_in at{};
    socklen_t size = sizeof at;
    std::array<char, INET_ADDRSTRLEN> text{};
    if (name(socket_, reinterpret_cast<sockaddr*>(&at), &size) != 0 || at.sin_family != AF_INET) return;
    ip = ::inet_ntop(AF_INET, &at.sin_addr, text.data(), text.size());
    port = ntohs(at.sin_port);
  }

  struct Free {
    void operator()(SSL* one) const { SSL_free(one); }
  };
  int socket_;
  std::unique_ptr<SSL, Free> tls_;
  const Patience& patience_;
  const std::atomic<int>& listening_;
  bool in_head_ = true;
  std::size_t taken_ = 0;  // bytes of this head or body
  Clock::time_point began_ = Clock::now();
  std::array<char, 16384> buffer_;
  std::size_t next_ = 0, end_ = 0;
};

thread_local GuardedStream* current = nullptr;
thread_local bool close_after = false;

// An answer is lost when a connection is closed with bytes unread: a little of them is read and thrown away.
void close_gently(int socket) {
  ::shutdown(socket, SHUT_WR);
  std::array<char, 16384> thrown_away;
  const auto until = Clock::now() + milliseconds(1000);
  for (std::size_t read = 0; read < (std::size_t{4} << 20) && Clock::now() < until;) {
    pollfd on{socket, POLLIN, 0};
    if (::poll(&on, 1, 100) <= 0) break;
    const ssize_t got = ::recv(socket, thrown_away.data(), thrown_away.size(), MSG_DONTWAIT);
    if (got <= 0) break;
    read += static_cast<std::size_t>(got);
  }
  ::close(socket);
}

// No other program may share the port, as the library's default allows.
void reuse_address(int socket) {
  const int yes = 1;
  ::setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
}

// Sent to those who typed the address without https: the same page over https.
void point_to(const std::string& address, int socket) {
  const std::string said = "HTTP/1.1 301 Moved Permanently\r\nLocation: https://" + address +
                           "/\r\nContent-Length: 0\r\nConnection: close\r\n\r\n";
  ::send(socket, said.data(), said.size(), MSG_NOSIGNAL | MSG_DONTWAIT);
}

}  // namespace

GuardedServer::GuardedServer(Patience patience) : patience_(patience) {
  new_task_queue = [] { return new httplib::ThreadPool(threads); };
  set_socket_options(reuse_address);
}

// The library's own queue of five makes a burst of connections wait for seconds.
void GuardedServer::widen_queue() { ::listen(svr_sock_, waiting_connections); }

void GuardedServer::head_is_read() {
  if (current) current->head_is_read();
}

void GuardedServer::close_after_answer() { close_after = true; }

void GuardedServer::use_https(std::shared_ptr<ssl_ctx_st> context, std::string address) {
  tls_ = std::move(context);
  address_ = std::move(address);
}

bool GuardedServer::process_and_close_socket(int socket) {
  GuardedStream stream(socket, patience_, svr_sock_);
  if (tls_ && stream.hears_a_letter()) {
    point_to(address_, socket);
    close_gently(socket);
    return true;
  }
  if (tls_ && !stream.agree_on_keys(*tls_)) {
    ::close(socket);
    return true;
  }
  current = &stream;
  close_after = false;
  try {
    for (int left = requests_per_connection; left > 0 && !close_after && stream.begins_request(); --left) {
      bool closed = false;
      if (!process_request(stream, left == 1, closed, nullptr) || closed) break;
    }
  } catch (const std::exception& e) {
    std::fprintf(stderr, "gearhark: a connection was given up (%s)\n", e.what());
  }
  current = nullptr;
  stream.say_goodbye();
  close_gently(socket);
  return true;
}

}  // namespace gearhark::workbench
