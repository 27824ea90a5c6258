#include "answers.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <charconv>
#include <memory>
#include <utility>

#include "gearhark/units/text.hpp"
#include "page_files.hpp"

namespace gearhark::workbench {
namespace {

constexpr std::size_t largest_json = std::size_t{512} << 10, largest_log = std::size_t{20} << 20;

const char* text_type(std::string_view name) {
  if (name.ends_with(".svg")) return "image/svg+xml";
  if (name.ends_with(".html")) return "text/html; charset=utf-8";
  return name.ends_with(".css") ? "text/css; charset=utf-8" : "text/javascript; charset=utf-8";
}

std::int64_t announced_length(const httplib::Request& request) {
  const std::string text = request.get_header_value("Content-Length");
  std::int64_t out = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
  return error == std::errc{} && end == text.data() + text.size() && out >= 0 ? out : 0;
}

// A name of the client's as text: percent-decoded, for headers hold ASCII alone.
std::string client_name(const httplib::Request& request) {
  const std::string name = httplib::detail::decode_url(request.get_header_value("X-Name"), false);
  std::string clean = valid_utf8(name);  // control characters have no place in a name either
  for (char& letter : clean)
    if (static_cast<unsigned char>(letter) < 0x20 || letter == 0x7f) letter = ' ';
  return clean.empty() ? "recording" : clean;
}

httplib::Headers common_headers() {
  return {{"Content-Security-Policy",
           "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; "
           "connect-src 'self'; "
           "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
          {"X-Content-Type-Options", "nosniff"},
          {"Referrer-Policy", "no-referrer"},
          {"Cross-Origin-Opener-Policy", "same-origin"},
          {"Cross-Origin-Resource-Policy", "same-origin"},
          {"Cache-Control", "no-store"}};
}

}  // namespace

void answer(httplib::Response& response, const Answer& what) {
  response.status = what.status;
  response.set_content(what.body.dump(-1, ' ', false, Json::error_handler_t::replace), "application/json");
}

void refuse(httplib::Response& response, int status, const std::string& sentence) {
  GuardedServer::close_after_answer();
  answer(response, problem(status, sentence));
  response.set_header("Connection", "close");
}

void guard(GuardedServer& server, std::function<std::optional<Refusal>(const httplib::Request&)> refused) {
  server.set_default_headers(common_headers());
  using Outcome = httplib::Server::HandlerResponse;
  server.set_pre_routing_handler(
      [refused = std::move(refused)](const httplib::Request& request, httplib::Response& response) {
        GuardedServer::head_is_read();
        const auto no = refused(request);
        if (!no) return Outcome::Unhandled;
        refuse(response, no->status, no->sentence);
        return Outcome::Handled;
      });
  server.set_exception_handler([](const httplib::Request&, httplib::Response& response, std::exception_ptr) {
    refuse(response, 400, "This request can't be understood.");
  });
  server.set_error_handler([](const httplib::Request&, httplib::Response& response) {
    if (response.body.empty()) refuse(response, response.status, "There is nothing here.");
  });
}

bool serve_page_file(httplib::Response& response, const std::string& name) {
  for (const PageFile& file : page_files())
    if (file.name == name) {
      response.set_content(file.text.data(), file.text.size(), text_type(name));
      return true;
    }
  return false;
}

void serve_file(httplib::Response& response, const Bench::Kept& kept) {
  const auto file =
      std::shared_ptr<int>(new int(::open(kept.file.c_str(), O_RDONLY | O_CLOEXEC)), [](int* open) {
        if (*open >= 0) ::close(*open);
        delete open;
      });
  struct stat facts {};
  if (*file < 0 || ::fstat(*file, &facts) != 0) return answer(response, problem(404, "This file is gone."));
  response.set_content_provider(static_cast<std::size_t>(facts.st_size), kept.type,
                                [file](std::size_t offset, std::size_t length, httplib::DataSink& sink) {
                                  std::array<char, 65536> bytes;
                                  const ssize_t got =
                                      ::pread(*file, bytes.data(), std::min(length, bytes.size()),
                                              static_cast<off_t>(offset));
                                  return got > 0 && sink.write(bytes.data(), static_cast<std::size_t>(got));
                                });
}

std::optional<Json> json_body(const httplib::Request& request, httplib::Response& response,
                              const httplib::ContentReader& read) {
  std::string text;
  const bool form = request.is_multipart_form_data();
  const bool whole = !form && read([&](const char* bytes, std::size_t count) {
    text.append(bytes, count);
    return text.size() <= largest_json;
  });
  // Nothing that is asked for lies deeper than in the object itself.
  const auto shallow = [](int depth, Json::parse_event_t, const Json&) { return depth <= 2; };
  Json body = whole ? Json::parse(text.empty() ? "{}" : text, shallow, false) : Json(nullptr);
  if (body.is_object()) return body;
  const bool large = text.size() > largest_json;
  refuse(response, large ? 413 : 400,
         large ? "This is larger than a car file can be." : "Send one JSON object.");
  return std::nullopt;
}

void receive_log(const httplib::Request& request, httplib::Response& response,
                 const httplib::ContentReader& read, Bench& bench, const std::string& id) {
  if (request.is_multipart_form_data())
    return refuse(response, 415, "Send the speed log itself as the body.");
  std::string text;
  const bool whole = read([&](const char* bytes, std::size_t count) {
    text.append(bytes, count);
    return text.size() <= largest_log;
  });
  if (text.size() > largest_log) return refuse(response, 413, "This speed log is larger than 20 MB; cut it.");
  if (!whole) return refuse(response, 400, "The speed log did not arrive whole; send it again.");
  answer(response, bench.add_log(id, client_name(request), text));
}

void receive_run(const httplib::Request& request, httplib::Response& response,
                 const httplib::ContentReader& read, Bench& bench, const std::string& set,
                 const std::string& sent_by) {
  if (request.is_multipart_form_data())
    return refuse(response, 415, "Send the recording itself as the body.");
  if (const auto full = bench.no_room(announced_length(request)))
    return refuse(response, full->status, full->body["problem"]);
  const auto upload = bench.upload();
  std::optional<Answer> no;
  const bool whole = read([&](const char* bytes, std::size_t count) {
    no = upload->write(bytes, count);
    return !no;
  });
  if (!no && !whole) no = problem(400, "The recording did not arrive whole; send it again.");
  if (!no) no = upload->finish();
  if (no) return refuse(response, no->status, no->body["problem"]);
  const std::string name = client_name(request);
  answer(response, upload->bundle() ? bench.add_bundle(*upload, name, set, sent_by)
                                    : bench.add_run(*upload, name, set, sent_by));
}

}  // namespace gearhark::workbench
