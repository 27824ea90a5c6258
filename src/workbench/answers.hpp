// What every answer has, and how bodies are taken in.
#pragma once

#include <httplib.h>

#include <functional>
#include <optional>
#include <string>

#include "bench.hpp"
#include "gate.hpp"
#include "guarded_server.hpp"

namespace gearhark::workbench {

void answer(httplib::Response& response, const Answer& what);
void refuse(httplib::Response& response, int status, const std::string& sentence);

// A page file by its name; false: there is none of that name.
bool serve_page_file(httplib::Response& response, const std::string& name);

// Streams a file, in parts where the client asks for one.
void serve_file(httplib::Response& response, const Bench::Kept& kept);

// The body as a JSON object of at most half a megabyte; nothing: refused already.
std::optional<Json> json_body(const httplib::Request& request, httplib::Response& response,
                              const httplib::ContentReader& read);

// A speed log in the body, of at most 20 MB.
void receive_log(const httplib::Request& request, httplib::Response& response,
                 const httplib::ContentReader& read, Bench& bench, const std::string& id);

// A recording in the body, to disk as it comes.
void receive_run(const httplib::Request& request, httplib::Response& response,
                 const httplib::ContentReader& read, Bench& bench, const std::string& set,
                 const std::string& sent_by);

// What every server here has: headers of a policy that lets nothing in from elsewhere and lets the browser
// keep nothing; `refused` asked before any route; a sentence for what can't be understood and what is not
// there.
void guard(GuardedServer& server, std::function<std::optional<Refusal>(const httplib::Request&)> refused);

}  // namespace gearhark::workbench
