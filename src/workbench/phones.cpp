#include "phones.hpp"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>

#include <array>
#include <memory>

#include "gate.hpp"
#include "gearhark/workbench/recorder.hpp"
#include "qr.hpp"
#include "secrets.hpp"

namespace gearhark::workbench {
namespace {

using httplib::ContentReader;
using httplib::Request;
using httplib::Response;

// Of 31^8 codes: whoever guesses is shut out long before it matters.
constexpr int most_wrong_tries = 20;
constexpr std::size_t most_phones = 50;

std::string without_marks(const std::string& code) {
  std::string out;
  for (const char letter : code) {
    if (letter >= 'a' && letter <= 'z') out += static_cast<char>(letter - 'a' + 'A');
    if ((letter >= 'A' && letter <= 'Z') || (letter >= '0' && letter <= '9')) out += letter;
  }
  return out;
}

// The recorder has a policy of its own, in the page; it can do what no page without https can.
void recorder_routes(GuardedServer& server, Bench& bench) {
  server.Get("/recorder.html",
             [page = recorder_page(ServedBy::workbench)](const Request&, Response& response) {
               response.headers.erase("Content-Security-Policy");
               response.set_header("Content-Security-Policy", "frame-ancestors 'none'");
               response.set_content(page, "text/html; charset=utf-8");
             });
  server.Get("/recorder_offline.js",
             [](const Request&, Response& response) { serve_page_file(response, "recorder_offline.js"); });
  server.Get("/api/plan", [&bench](const Request&, Response& response) {
    const auto plan = bench.result("plan", "json");
    if (!plan) return answer(response, problem(404, "No road test is planned on the workbench yet."));
    serve_file(response, *plan);
  });
}

}  // namespace

Phones::Phones(std::string address, std::string fingerprint)
    : address_(std::move(address)), fingerprint_(std::move(fingerprint)), code_(pairing_code()) {}

Json Phones::invitation() {
  const std::lock_guard lock(mutex_);
  const std::string page = scheme() + "://" + address_ + "/";
  Json out{{"address", page}, {"fingerprint", fingerprint_}, {"code", nullptr}, {"qr", Json::array()}};
  if (code_.empty()) return out;
  out["code"] = code_;
  out["qr"] = qr_rows(page + "#" + code_);
  return out;
}

void Phones::renew() {
  const std::lock_guard lock(mutex_);
  code_ = pairing_code();
  wrong_tries_ = 0;
}

std::string Phones::pair(const std::string& code) {
  const std::lock_guard lock(mutex_);
  if (code_.empty() || tokens_.size() >= most_phones) return "";
  if (!same_secret(without_marks(code), without_marks(code_))) {
    if (++wrong_tries_ >= most_wrong_tries) code_.clear();
    return "";
  }
  wrong_tries_ = 0;
  return *tokens_.insert(random_token()).first;
}

bool Phones::known(const std::string& token) {
  const std::lock_guard lock(mutex_);
  bool found = false;
  for (const auto& one : tokens_) found = same_secret(token, one) || found;
  return found;
}

void set_up_phones(GuardedServer& server, Bench& bench, Phones& phones) {
  guard(server, [&phones](const Request& request) -> std::optional<Refusal> {
    if (auto no = refusal(request, {phones.address()}, phones.scheme())) return no;
    const bool open = request.method == "GET" || request.path == "/api/pair";
    const bool inside = request.path.starts_with("/api/") && request.path != "/api/pair";
    if ((inside || !open) && !phones.known(request.get_header_value("X-Phone")))
      return Refusal{401, "Pair this phone first: type the code that the workbench shows."};
    return std::nullopt;
  });
  server.Get("/", [](const Request&, Response& response) { serve_page_file(response, "phone.html"); });
  for (const char* name : {"page.css", "workbench.css", "phone.js", "icon.svg"})
    server.Get(std::string("/") + name,
               [name](const Request&, Response& response) { serve_page_file(response, name); });
  server.Post("/api/pair", [&phones](const Request& request, Response& response, const ContentReader& read) {
    const auto body = json_body(request, response, read);
    if (!body) return;
    const std::string token = phones.pair(body->value("code", ""));
    if (token.empty()) return refuse(response, 403, "This code is not right; look at the workbench again.");
    answer(response, {200, {{"token", token}}});
  });
  server.Post("/api/runs", [&bench](const Request& request, Response& response, const ContentReader& read) {
    receive_run(request, response, read, bench, "before", request.get_header_value("X-Phone"));
    // A phone learns that its recording arrived, and nothing of the bench.
    if (response.status == 201) answer(response, {201, Json::object()});
  });
  if (phones.scheme() == "https") recorder_routes(server, bench);
  server.Get("/api/mine", [&bench](const Request& request, Response& response) {
    answer(response, {200, bench.sent_by(request.get_header_value("X-Phone"))});
  });
}

std::string own_address() {
  ifaddrs* first = nullptr;
  if (::getifaddrs(&first) != 0) return "";
  const std::unique_ptr<ifaddrs, decltype(&::freeifaddrs)> all(first, ::freeifaddrs);
  for (const ifaddrs* one = first; one; one = one->ifa_next) {
    if (!one->ifa_addr || one->ifa_addr->sa_family != AF_INET || (one->ifa_flags & IFF_LOOPBACK) ||
        !(one->ifa_flags & IFF_UP))
      continue;
    std::array<char, INET_ADDRSTRLEN> text{};
    const auto* at = reinterpret_cast<const sockaddr_in*>(one->ifa_addr);
    if (::inet_ntop(AF_INET, &at->sin_addr, text.data(), text.size())) return text.data();
  }
  return "";
}

}  // namespace gearhark::workbench
