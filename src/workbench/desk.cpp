#include "desk.hpp"

#include <fmt/format.h>

#include "gate.hpp"
#include "page_files.hpp"
#include "secrets.hpp"

namespace gearhark::workbench {
namespace {

using httplib::ContentReader;
using httplib::Request;
using httplib::Response;

// The value of our cookie, "" where it is not there.
std::string cookie(const Request& request, const std::string& name) {
  const std::string all = "; " + request.get_header_value("Cookie");
  const auto at = all.find("; " + name + "=");
  if (at == std::string::npos) return "";
  const auto from = at + name.size() + 3;
  return all.substr(from, all.find(';', from) - from);
}

// A report page brings a policy of its own that names its script and style. It may do nothing else, and is
// kept apart from the workbench's own pages as if it came from another site.
void serve_report(Response& response, const Bench::Kept& kept) {
  serve_file(response, kept);
  response.headers.erase("Content-Security-Policy");
  response.set_header(
      "Content-Security-Policy",
      "connect-src 'none'; frame-src 'none'; object-src 'none'; base-uri 'none'; form-action 'none'; "
      "frame-ancestors 'none'; sandbox allow-scripts allow-modals");
}

std::string text(const Json& body, const char* key) {
  const auto at = body.find(key);
  return at != body.end() && at->is_string() ? at->get<std::string>() : "";
}

Json examples() {
  Json out = Json::array();
  for (const PageFile& car : example_cars()) out.push_back({{"file", car.name}, {"text", car.text}});
  return out;
}

using JsonWork = std::function<Answer(const Request&, const Json&)>;
auto with_json(JsonWork work) {
  return [work = std::move(work)](const Request& request, Response& response, const ContentReader& read) {
    if (const auto body = json_body(request, response, read)) answer(response, work(request, *body));
  };
}

void car_routes(GuardedServer& server, Bench& bench) {
  server.Get("/api/examples", [](const Request&, Response& r) { answer(r, {200, examples()}); });
  server.Get("/api/car", [&bench](const Request&, Response& r) { answer(r, bench.car()); });
  server.Put("/api/car", with_json([&bench](const Request&, const Json& body) {
               return bench.put_car(text(body, "text"), text(body, "speed"), text(body, "gear"));
             }));
}

void run_routes(GuardedServer& server, Bench& bench) {
  server.Post("/api/runs", [&bench](const Request& request, Response& response, const ContentReader& read) {
    receive_run(request, response, read, bench, request.get_param_value("set"), "");
  });
  server.Patch("/api/runs/([0-9a-f]{32})", with_json([&bench](const Request& request, const Json& body) {
                 return bench.change_run(request.matches[1], body);
               }));
  server.Delete("/api/runs/([0-9a-f]{32})", with_json([&bench](const Request& request, const Json&) {
                  return bench.remove_run(request.matches[1]);
                }));
  server.Post("/api/runs/([0-9a-f]{32})/log",
              [&bench](const Request& request, Response& response, const ContentReader& read) {
                receive_log(request, response, read, bench, request.matches[1]);
              });
  server.Get("/api/runs/([0-9a-f]{32})/check", [&bench](const Request& request, Response& response) {
    const auto check = bench.run_check(request.matches[1]);
    if (!check) return answer(response, problem(404, "This recording has not been checked."));
    response.set_content(*check, "application/json");
  });
}

void work_routes(GuardedServer& server, Bench& bench) {
  server.Get("/api/job", [&bench](const Request&, Response& r) { answer(r, {200, bench.job()}); });
  server.Delete("/api/job", with_json([&bench](const Request&, const Json&) { return bench.clear(); }));
  server.Post("/api/work/([a-z]{1,20})", with_json([&bench](const Request& request, const Json& body) {
                return bench.start(request.matches[1], body);
              }));
  server.Delete("/api/work/([a-z]{1,20})", with_json([&bench](const Request& request, const Json&) {
                  return bench.stop(request.matches[1]);
                }));
  server.Get("/api/work/([a-z]{1,20})", [&bench](const Request& request, Response& response) {
    const auto kept = bench.result(request.matches[1], "json");
    if (!kept) return answer(response, problem(404, "There is no such result yet."));
    serve_file(response, *kept);
  });
}

void case_routes(GuardedServer& server, Bench& bench) {
  server.Get("/api/cases", [&bench](const Request&, Response& r) { answer(r, bench.cases()); });
  server.Post("/api/cases", with_json([&bench](const Request&, const Json& body) {
                return bench.keep_case(text(body, "title"), text(body, "note"));
              }));
  server.Post("/api/cases/([0-9]{1,9})/found", with_json([&bench](const Request& request, const Json& body) {
                return bench.record_found(std::stoll(request.matches[1]), text(body, "part"),
                                          text(body, "fault"), text(body, "note"));
              }));
}

// What the browser fetches without our script: opened by the cookie.
void viewed_routes(GuardedServer& server, Bench& bench) {
  server.Get("/view/runs/([0-9a-f]{32})", [&bench](const Request& request, Response& response) {
    const auto kept = bench.run_sound(request.matches[1]);
    if (!kept) return answer(response, problem(404, "There is no such recording."));
    serve_file(response, *kept);
  });
  server.Get("/view/([a-z]{1,20})\\.(html|wav)", [&bench](const Request& request, Response& response) {
    const auto kept = bench.result(request.matches[1], request.matches[2]);
    if (!kept) return answer(response, problem(404, "There is no such result yet."));
    request.matches[2] == "html" ? serve_report(response, *kept) : serve_file(response, *kept);
  });
}

void phone_routes(GuardedServer& server, Phones* phones) {
  server.Get("/api/lan", [phones](const Request&, Response& r) {
    answer(r, {200, phones ? phones->invitation() : Json(nullptr)});
  });
  server.Post("/api/lan/code", with_json([phones](const Request&, const Json&) {
                if (!phones) return problem(409, "Started without --lan.");
                phones->renew();
                return Answer{200, phones->invitation()};
              }));
}

}  // namespace

void set_up_desk(GuardedServer& server, Bench& bench, const DeskKeys& keys, int port, Phones* phones) {
  const std::vector<std::string> hosts{fmt::format("127.0.0.1:{}", port), fmt::format("localhost:{}", port)};
  const std::string cookie_name = fmt::format("gearhark_{}", port);
  guard(server, [hosts, keys, cookie_name](const Request& request) -> std::optional<Refusal> {
    if (auto no = refusal(request, hosts)) return no;
    const Refusal stranger{401, "Open the whole address that gearhark printed when it started."};
    if (request.path.starts_with("/api/") && !same_secret(request.get_header_value("X-Token"), keys.token))
      return stranger;
    if (request.path.starts_with("/view/") && !same_secret(cookie(request, cookie_name), keys.viewer))
      return stranger;
    return std::nullopt;
  });
  server.Get("/", [](const Request&, Response& response) { serve_page_file(response, "workbench.html"); });
  server.Get("/([a-z_]{1,30}\\.(?:css|js|svg))", [](const Request& request, Response& response) {
    if (!serve_page_file(response, request.matches[1])) response.status = 404;
  });
  server.Post("/api/enter", [keys, cookie_name](const Request&, Response& response) {
    response.set_header(
        "Set-Cookie", fmt::format("{}={}; HttpOnly; SameSite=Strict; Path=/view/", cookie_name, keys.viewer));
    answer(response, {200, Json::object()});
  });
  car_routes(server, bench);
  run_routes(server, bench);
  work_routes(server, bench);
  case_routes(server, bench);
  viewed_routes(server, bench);
  phone_routes(server, phones);
}

}  // namespace gearhark::workbench
