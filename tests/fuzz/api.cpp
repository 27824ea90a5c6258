// Whatever comes over a connection to the workbench, or to its phones' side, is answered or the connection is
// closed; the server neither breaks nor runs anything but the commands that it should, and every answer is
// its own.
//
// An input is what a client sends over one connection. The server's secrets stand in it as words, so that a
// fuzzer gets past the gate: "TOKEN", "VIEWER" and "PHONE_TOKEN" are known to it, RUN_ID becomes the ID of a
// recording on the bench. An input that begins with "phone " goes to the phones' side. No sockets, and no
// children: what they would do is played here.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <string>

#include "../../src/workbench/child.hpp"
#include "../../src/workbench/desk.hpp"

// Stands in for the one in src/workbench/child.cpp, which the linker then leaves out.
namespace gearhark::workbench {

std::string ChildOutcome::sentence() const { return "It failed."; }

ChildOutcome run_child(const std::vector<std::string>& words, const std::string& folder, const ChildLimits&,
                       const std::stop_token&, const std::function<void(const std::string&)>& on_line) {
  static const std::vector<std::string> known{"--version", "orders", "check", "diagnose", "compare",
                                              "confirm",   "listen", "plan",  "case"};
  const bool asked_for =
      !words.empty() && std::find(known.begin(), known.end(), words.front()) != known.end();
  if (!asked_for || !folder.starts_with("/")) std::abort();
  // Options come from the server alone: a client's words stand behind "=", or are names of the server's
  // files.
  for (const std::string& word : words)
    if (word.find('\0') != std::string::npos) std::abort();
  if (on_line) on_line("reading ...");
  const auto write = [&](const char* name, const char* text) { std::ofstream(folder + "/" + name) << text; };
  if (words.front() != "orders" && words.front() != "check" && words.front() != "case" &&
      words.front() != "--version") {
    write("result.json", "{\"format\":\"gearhark diagnosis\"}");
    write("report.html", "<!DOCTYPE html>");
  }
  if (words.front() == "listen") write("sound.wav", "RIFF");
  return {ChildOutcome::Ending::exited, 0, "{\"duration_s\":1,\"problems\":[]}", ""};
}

}  // namespace gearhark::workbench

using namespace gearhark::workbench;

namespace {

// What one client sends, and what it gets.
class Wire : public httplib::Stream {
 public:
  explicit Wire(std::string sent) : sent_(std::move(sent)) {}
  [[nodiscard]] bool is_readable() const override { return true; }
  [[nodiscard]] bool is_writable() const override { return true; }
  ssize_t read(char* out, std::size_t size) override {
    const std::size_t count = std::min(size, sent_.size() - at_);
    std::copy_n(sent_.begin() + static_cast<std::ptrdiff_t>(at_), count, out);
    at_ += count;
    return count ? static_cast<ssize_t>(count) : -1;
  }
  ssize_t write(const char* bytes, std::size_t size) override {
    got.append(bytes, size);
    return static_cast<ssize_t>(size);
  }
  void get_remote_ip_and_port(std::string& ip, int& port) const override { get_local_ip_and_port(ip, port); }
  void get_local_ip_and_port(std::string& ip, int& port) const override {
    ip = "127.0.0.1";
    port = 80;
  }
  [[nodiscard]] socket_t socket() const override { return -1; }
  [[nodiscard]] bool over() const { return at_ == sent_.size(); }
  std::string got;

 private:
  std::string sent_;
  std::size_t at_ = 0;
};

class Served : public GuardedServer {
 public:
  Served() : GuardedServer(Patience{}) {}
  // One request; false: the connection is closed.
  bool serve(Wire& wire) {
    bool closed = false;
    return process_request(wire, false, closed, nullptr) && !closed;
  }
};

void replace_all(std::string& text, const std::string& what, const std::string& by) {
  for (std::size_t at = 0; (at = text.find(what, at)) != std::string::npos; at += by.size())
    text.replace(at, what.size(), by);
}

// The status of an answer, and that it is one of this server's.
void look_at(const std::string& got) {
  if (got.empty()) return;
  if (!got.starts_with("HTTP/1.1 ") || got.size() < 12) std::abort();
  const int status = std::atoi(got.c_str() + 9);
  // 507: full. Any other 5xx is a mistake of the server's own.
  if (status < 100 || status > 507 || (status >= 500 && status < 507)) std::abort();
}

void talk(Served& server, Bench& bench, const std::string& sent) {
  // Request by request, so that an ID given out by one can be used by the next.
  std::string text = sent;
  const auto runs = bench.job()["runs"];
  if (!runs.empty()) replace_all(text, "RUN_ID", runs.back()["id"].get<std::string>());
  Wire wire(text);
  for (int left = 10; left > 0 && !wire.over(); --left) {
    wire.got.clear();
    const bool open = server.serve(wire);
    look_at(wire.got);
    if (!open) break;
  }
}

constexpr const char* a_sound =
    "POST /api/runs?set=before HTTP/1.1\r\nHost: 127.0.0.1:80\r\nX-Token: TOKEN\r\nX-Name: a.wav\r\n"
    "Content-Length: 20\r\n\r\nRIFF____WAVEfmt ____";
constexpr const char* a_car =
    "PUT /api/car HTTP/1.1\r\nHost: 127.0.0.1:80\r\nX-Token: TOKEN\r\nContent-Length: 19\r\n\r\n"
    "{\"text\":\"name = 1\"}";

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string sent(reinterpret_cast<const char*>(data), size);
  Bench bench(gearhark::WorkbenchSettings{});
  Served desk, side;
  Phones phones("127.0.0.1:81");
  set_up_desk(desk, bench, {"TOKEN", "VIEWER"}, 80, &phones);
  set_up_phones(side, bench, phones);
  const bool phone = sent.starts_with("phone ");
  if (phone) {
    const std::string code = phones.invitation()["code"];
    replace_all(sent, "PHONE_TOKEN", phones.pair(code));
    replace_all(sent, "PAIRING_CODE", code);
  } else {
    talk(desk, bench, a_car);
    talk(desk, bench, a_sound);
  }
  talk(phone ? side : desk, bench, phone ? sent.substr(6) : sent);
  return 0;
}
