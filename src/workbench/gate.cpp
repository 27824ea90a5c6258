#include "gate.hpp"

#include <httplib.h>

#include <algorithm>

namespace gearhark::workbench {
namespace {

bool once(const httplib::Request& request, const char* name) {
  return request.get_header_value_count(name) <= 1;
}

bool from_elsewhere(const httplib::Request& request, const std::vector<std::string>& hosts,
                    std::string_view scheme) {
  const std::string site = request.get_header_value("Sec-Fetch-Site");
  const bool reads = request.method == "GET" || request.method == "HEAD";
  // A link that someone follows to the page itself may come from anywhere.
  if (!site.empty() && site != "same-origin" && site != "none" && !(reads && request.path == "/"))
    return true;
  if (!request.has_header("Origin")) return false;
  const std::string origin = request.get_header_value("Origin");
  return std::none_of(hosts.begin(), hosts.end(),
                      [&](const auto& host) { return origin == std::string(scheme) + "://" + host; });
}

}  // namespace

std::optional<Refusal> refusal(const httplib::Request& request, const std::vector<std::string>& hosts,
                               std::string_view scheme) {
  for (const char* name : {"Host", "Origin", "Content-Length", "Transfer-Encoding", "Range", "Cookie"})
    if (!once(request, name)) return Refusal{400, "A header came twice."};
  if (std::find(hosts.begin(), hosts.end(), request.get_header_value("Host")) == hosts.end())
    return Refusal{421, "This server answers only to the address that it printed."};
  if (from_elsewhere(request, hosts, scheme)) return Refusal{403, "Requests from other sites are refused."};
  if (request.has_header("Content-Encoding")) return Refusal{415, "Send it as it is, not compressed."};
  const bool length = request.has_header("Content-Length"), chunks = request.has_header("Transfer-Encoding");
  if (length && chunks) return Refusal{400, "Length and chunks contradict each other."};
  const bool reads = request.method == "GET" || request.method == "HEAD";
  if (reads && (chunks || (length && request.get_header_value("Content-Length") != "0")))
    return Refusal{400, "A body does not belong here."};
  if (!reads && !chunks && !length) return Refusal{411, "Say how long the body is."};
  if (request.ranges.size() > 1) return Refusal{416, "Ask for one range at a time."};
  return std::nullopt;
}

}  // namespace gearhark::workbench
