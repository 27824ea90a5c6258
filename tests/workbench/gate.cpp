#include "../../src/workbench/gate.hpp"

#include <httplib.h>

#include <catch2/catch.hpp>
#include <set>

#include "../../src/workbench/secrets.hpp"
#include "../../src/workbench/sound_kind.hpp"

namespace gearhark::workbench {
namespace {

int refused(const std::string& method, const httplib::Headers& headers,
            const std::string& path = "/api/job") {
  httplib::Request request;
  request.method = method;
  request.path = path;
  request.headers = headers;
  request.headers.emplace("Host", "127.0.0.1:81");
  const auto no = refusal(request, {"127.0.0.1:81", "localhost:81"});
  return no ? no->status : 0;
}

TEST_CASE("a request passes by its own host and origin alone") {
  CHECK(refused("GET", {}) == 0);
  CHECK(refused("GET", {{"Origin", "http://localhost:81"}}) == 0);
  CHECK(refused("GET", {{"Origin", "http://localhost:82"}}) == 403);
  CHECK(refused("GET", {{"Origin", "null"}}) == 403);
  CHECK(refused("GET", {{"Host", "127.0.0.1:81"}}) == 400);  // twice
  CHECK(refused("GET", {{"Sec-Fetch-Site", "cross-site"}}) == 403);
  // A link to the page itself may be followed from anywhere.
  CHECK(refused("GET", {{"Sec-Fetch-Site", "cross-site"}}, "/") == 0);
}

TEST_CASE("where https is spoken, an origin of plain HTTP is another site") {
  httplib::Request request;
  request.method = "GET";
  request.headers = {{"Host", "127.0.0.1:81"}, {"Origin", "http://127.0.0.1:81"}};
  CHECK(refusal(request, {"127.0.0.1:81"}, "https")->status == 403);
  request.headers = {{"Host", "127.0.0.1:81"}, {"Origin", "https://127.0.0.1:81"}};
  CHECK_FALSE(refusal(request, {"127.0.0.1:81"}, "https"));
}

TEST_CASE("a body passes with one plain length, and where it belongs") {
  CHECK(refused("PUT", {{"Content-Length", "2"}}) == 0);
  CHECK(refused("PUT", {}) == 411);
  CHECK(refused("PUT", {{"Content-Length", "2"}, {"Content-Length", "3"}}) == 400);
  CHECK(refused("PUT", {{"Content-Length", "2"}, {"Transfer-Encoding", "chunked"}}) == 400);
  CHECK(refused("PUT", {{"Content-Length", "2"}, {"Content-Encoding", "gzip"}}) == 415);
  CHECK(refused("GET", {{"Content-Length", "2"}}) == 400);
}

TEST_CASE("secrets are equal only when they are") {
  CHECK(same_secret("abc", "abc"));
  CHECK_FALSE(same_secret("abc", "abd"));
  CHECK_FALSE(same_secret("abcabc", "abc"));
  CHECK_FALSE(same_secret("", "abc"));
  CHECK_FALSE(same_secret("abc", ""));
}

TEST_CASE("tokens and codes differ from one to the next") {
  std::set<std::string> tokens, codes;
  for (int i = 0; i < 1000; ++i) {
    tokens.insert(random_token());
    codes.insert(pairing_code());
  }
  CHECK(tokens.size() == 1000);
  CHECK(codes.size() == 1000);
  CHECK(tokens.begin()->size() == 32);
  CHECK(codes.begin()->size() == 9);
  CHECK(codes.begin()->find_first_of("01ILO") == std::string::npos);
}

TEST_CASE("an upload's ending is one of ours, never the client's own") {
  CHECK(known_ending("Third gear.M4A") == ".m4a");
  CHECK(known_ending("x.m4a/../../y") == ".bin");
  CHECK(known_ending("x.sh") == ".bin");
  CHECK(known_ending("") == ".bin");
  CHECK(known_ending(".wav") == ".wav");
}

TEST_CASE("sound is known by its first bytes") {
  CHECK(looks_like_sound("RIFF....WAVEfmt "));
  CHECK(
      looks_like_sound(std::string("\0\0\0\x18"
                                   "ftypM4A ",
                                   12)));
  CHECK(looks_like_sound("\xff\xfb\x90\x64............"));
  CHECK_FALSE(looks_like_sound("<!DOCTYPE html>"));
  CHECK_FALSE(looks_like_sound("PK\x03\x04............"));
  CHECK_FALSE(looks_like_sound(""));
}

}  // namespace
}  // namespace gearhark::workbench
