#include "../../src/report/picture.hpp"

#include <catch2/catch.hpp>
#include <cstdlib>

#include "../../src/report/html.hpp"
#include "../folder.hpp"

using namespace gearhark;

TEST_CASE("ticks are round and lie within the axis") {
  CHECK(report::ticks(0.0, 168.0, 8) == std::vector<double>{0, 20, 40, 60, 80, 100, 120, 140, 160});
  const auto speeds = report::ticks(63.2, 66.1, 4);
  CHECK(speeds == std::vector<double>{63.5, 64, 64.5, 65, 65.5, 66});
  CHECK(report::ticks(1.0, 1.0, 4).empty());
}

TEST_CASE("a grey picture is a PNG whose checksums and values an outside reader agrees with") {
  const Folder folder;
  std::vector<std::uint8_t> grey;
  for (std::size_t i = 0; i < 300 * 250; ++i)
    grey.push_back(static_cast<std::uint8_t>(i * 7 % 256));  // two blocks
  const std::string file = folder.write("a.png", report::grey_png(300, 250, grey));
  const std::string reader = folder.write(
      "read.py",
      "import struct, sys, zlib\n"
      "b = open(sys.argv[1], 'rb').read()\n"
      "assert b[:8] == b'\\x89PNG\\r\\n\\x1a\\n'\n"
      "at, data = 8, b''\n"
      "while at < len(b):\n"
      "    n, = struct.unpack('>I', b[at:at+4]); kind = b[at+4:at+8]; body = b[at+8:at+8+n]\n"
      "    assert zlib.crc32(kind + body) == struct.unpack('>I', b[at+8+n:at+12+n])[0]\n"
      "    if kind == b'IHDR': assert struct.unpack('>IIBBBBB', body) == (300, 250, 8, 0, 0, 0, 0)\n"
      "    if kind == b'IDAT': data += body\n"
      "    at += 12 + n\n"
      "rows = zlib.decompress(data)\n"
      "assert len(rows) == 250 * 301\n"
      "assert all(rows[y*301] == 0 for y in range(250))\n"
      "assert all(rows[y*301+1+x] == (y*300+x)*7 % 256 for y in range(250) for x in range(300))\n");
  CHECK(std::system(("python3 " + reader + " " + file).c_str()) == 0);
}

TEST_CASE("base64 is that of RFC 4648, section 10") {
  CHECK(report::base64("") == "");
  CHECK(report::base64("f") == "Zg==");
  CHECK(report::base64("fo") == "Zm8=");
  CHECK(report::base64("foo") == "Zm9v");
  CHECK(report::base64("foobar") == "Zm9vYmFy");
}

TEST_CASE("UTF-8 stays as it is and what is none becomes one sign for each byte") {
  CHECK(report::escaped("caf\xC3\xA9 \xE2\x82\xAC \xF0\x9F\x94\x8A") ==
        "caf\xC3\xA9 \xE2\x82\xAC \xF0\x9F\x94\x8A");
  const std::string sign = "\xEF\xBF\xBD";
  CHECK(report::escaped("a\xE9z") == "a" + sign + "z");
  CHECK(report::escaped("\xC0\xAF") == sign + sign);             // too long a form of "/"
  CHECK(report::escaped("\xED\xA0\x80") == sign + sign + sign);  // half of a surrogate pair
  CHECK(report::escaped("\xE2\x82") == sign + sign);             // cut off
  CHECK(report::escaped(std::string("\0<", 2)) == sign + "&lt;");
}
