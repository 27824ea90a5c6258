#include "gearhark/speed/logs.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

using namespace gearhark;
using Catch::Matchers::Contains;

namespace {

double kmh(Speed speed) { return speed.value() * 3.6; }

std::string gpx(const std::string& points) {
  return "<?xml version=\"1.0\"?>\n<gpx version=\"1.1\" "
         "xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><trkseg>\n" +
         points + "</trkseg></trk></gpx>\n";
}

std::string point(double latitude, double longitude, const std::string& time, const std::string& more = "") {
  return "<trkpt lat=\"" + std::to_string(latitude) + "\" lon=\"" + std::to_string(longitude) + "\"><time>" +
         time + "</time>" + more + "</trkpt>\n";
}

}  // namespace

// Public NMEA parser documentation; 22.4 kn x 1.852 = 41.485 km/h.
TEST_CASE("the documented RMC sentence gives its speed and time") {
  const auto log =
      read_nmea_log("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n", "a.nmea");
  REQUIRE(log);
  REQUIRE(log->points.size() == 1);
  CHECK(kmh(log->points[0].speed) == Approx(41.485).margin(0.001));
  // date -u -d '1994-03-23 12:35:19' +%s
  CHECK(log->first_utc == Approx(764426119.0));
  CHECK(log->bad_checksums == 0);
}

// Public documentation prints these two with checksums that do not belong to them (XOR gives 2B and 61).
TEST_CASE("published sentences with wrong checksums are rejected and counted") {
  const std::string right = "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\n";
  const std::string fractional = "$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\n";
  const std::string other = "$GPRMC,225447,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*64\n";
  const auto log = read_nmea_log(fractional + right + other, "b.nmea");
  REQUIRE(log);
  CHECK(log->bad_checksums == 2);
  REQUIRE(log->points.size() == 1);
  CHECK(log->points[0].speed.value() == Approx(0.5 * 0.514444).epsilon(1e-5));
}

// VTG samples of public documentation; their own km/h fields are 56.40, 4.724 and 0.59 (rounded).
TEST_CASE("VTG fills in the speed that an RMC leaves empty") {
  const auto [sentence, expected] = GENERATE(table<std::string, double>({
      {"$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", 2.550 * 1.852},
      {"$GPVTG,208.02,T,,M,0.32,N,0.59,K,A*38", 0.32 * 1.852},
      {"$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K*43", 0.0},
  }));
  CAPTURE(sentence);
  const auto log =
      read_nmea_log("$GPRMC,123519,A,4807.038,N,01131.000,E,,,230394,,\n" + sentence + "\n", "c.nmea");
  REQUIRE(log);
  CHECK(log->bad_checksums == 0);
  CHECK(kmh(log->points.at(0).speed) == Approx(expected).margin(0.001));
}

TEST_CASE("a log without a valid fix says how many sentences were left out, and why") {
  const auto log =
      read_nmea_log("$GPRMC,123519,V,,,,,,,230394,,*30\n$GPRMC,123519,A,4807.038*00\n", "d.nmea");
  REQUIRE(!log);
  CHECK_THAT(log.error().sentence, Contains("d.nmea") && Contains("wrong checksum"));
}

TEST_CASE("fixes without a date run on past midnight") {
  const auto log = read_nmea_log(
      "$GPRMC,235959,A,4807.038,N,01131.000,E,10.0,,,,\n"
      "$GPRMC,000001,A,4807.038,N,01131.000,E,12.0,,,,\n",
      "e.nmea");
  REQUIRE(log);
  REQUIRE(log->points.size() == 2);
  CHECK(log->points[1].time.value() == Approx(2.0));
}

// Mean earth radius 6371008.8 m: one degree of latitude is 111195 m.
TEST_CASE("one degree of latitude is 111195 m") {
  CHECK(haversine_m(48.0, 11.0, 49.0, 11.0) == Approx(111195.0).margin(0.5));
  CHECK(haversine_m(0.0, 179.5, 0.0, -179.5) == Approx(111195.0).margin(0.5));
  CHECK(haversine_m(10.0, 20.0, 10.0, 20.0) == 0.0);
}

TEST_CASE("a GPX track without speeds gives distance over time") {
  // 1e-4 degrees of latitude a second are 11.1195 m/s.
  const auto log =
      read_gpx_log(gpx(point(48.0, 11, "2026-05-03T14:05:06Z") + point(48.0001, 11, "2026-05-03T14:05:07Z") +
                       point(48.0002, 11, "2026-05-03T16:05:08.000+02:00")),
                   "t.gpx");
  REQUIRE(log);
  CHECK(log->from_positions);
  REQUIRE(log->points.size() == 2);
  CHECK(log->points[1].speed.value() == Approx(11.1195).epsilon(1e-3));
  CHECK(log->points[1].time.value() == Approx(1.5));
}

TEST_CASE("a GPX track with speeds in its extensions gives those, in m/s") {
  const std::string speed = "<extensions><x:speed>6.86</x:speed></extensions>";
  const auto log = read_gpx_log(
      gpx(point(48.0, 11, "2026-05-03T14:05:06Z", speed) + point(48.1, 11, "2026-05-03T14:05:07Z", speed)),
      "t.gpx");
  REQUIRE(log);
  CHECK_FALSE(log->from_positions);
  CHECK(log->points.at(0).speed.value() == Approx(6.86));
}

TEST_CASE("a GPX point without a time is an error that names its line") {
  const auto log = read_gpx_log(
      gpx(point(48.0, 11, "2026-05-03T14:05:06Z") + "<trkpt lat=\"48\" lon=\"11\"/>\n"), "t.gpx");
  REQUIRE(!log);
  CHECK_THAT(log.error().sentence, Contains("t.gpx:4:") && Contains("<time>"));
}

TEST_CASE("speeds in a CSV log carry the unit of the heading") {
  const auto [text, expected] = GENERATE(table<std::string, double>({
      {"time_s,speed_mps\n0,10\n1,10\n", 10.0},
      {"time (s);speed (km/h)\n0;36\n1;36\n", 10.0},
      {"\"t [s]\"\t\"v [mph]\"\r\n0\t10\r\n", 4.4704},
      {"note,time_s,speed_kn\nx,0,10\n", 5.14444},
      {"time_min,speed_kmh\n0,36\n0.5,36\n", 10.0},
  }));
  CAPTURE(text);
  const auto log = read_csv_log(text, "s.csv");
  REQUIRE(log);
  CHECK(log->points.at(0).speed.value() == Approx(expected).epsilon(1e-5));
}

TEST_CASE("an unusable CSV log is one sentence with the line") {
  const auto [text, place] = GENERATE(table<std::string, std::string>({
      {"time,speed\n0,1\n", "s.csv:1:"},
      {"time_s,speed_mps\n0,1\n0,1\n", "s.csv:3:"},
      {"time_s,speed_mps\n0,fast\n", "s.csv:2:"},
      {"time_s,speed_mps\n0,-3\n", "s.csv:2:"},
      {"time_s,speed_mps\n0,900\n", "s.csv:2:"},
      {"time_s,speed_mps\n0\n", "s.csv:2:"},
      {"time_s,speed_mps\n0,nan\n", "s.csv:2:"},
      {"time_s,speed_mps\n", "s.csv: no speeds"},
  }));
  CAPTURE(text);
  const auto log = read_csv_log(text, "s.csv");
  REQUIRE(!log);
  CHECK_THAT(log.error().sentence, Contains(place));
}

TEST_CASE("what was found in a log is quoted so that any terminal can show it") {
  const auto sentence = [](const std::string& text) { return read_csv_log(text, "s.csv").error().sentence; };
  CHECK_THAT(sentence(std::string("RIFF\x1b\xf2\x80\x7f") + "WAVE\n0,1\n"),
             Contains("found \"RIFF?\xef\xbf\xbd?WAVE\","));
  // Forty bytes end in the middle of the twentieth letter.
  std::string letters = "a";
  for (int i = 0; i < 30; ++i) letters += "\xc3\xbc";
  CHECK_THAT(sentence(letters + "\n0,1\n"), Contains("\xbc...\""));
  CHECK(valid_utf8(sentence(letters + "\n0,1\n")) == sentence(letters + "\n0,1\n"));
}

TEST_CASE("the kind of a log is told by its contents") {
  CHECK(read_speed_log("time_s,speed_mps\n0,1\n", "a").operator bool());
  CHECK(read_speed_log("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", "a")
            .
            operator bool());
  CHECK_FALSE(read_speed_log("", "a"));
  CHECK_FALSE(load_speed_log("no/such/file.gpx"));
}

TEST_CASE("a log with clock times is laid against the recording by what the user says") {
  const auto log =
      read_nmea_log("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n", "a");
  REQUIRE(log);
  CHECK(stated_by(*log).own_clock);
  const auto laid = stated_by(*log, Seconds(-4.0));
  CHECK_FALSE(laid.own_clock);
  CHECK(laid.points.at(0).time.value() == Approx(4.0));
}

// What the fuzzers start from, and every input that once broke a reader.
TEST_CASE("the fuzzers' inputs are read or refused without harm") {
  int files = 0;
  for (const std::string kind : {"csv", "gpx", "nmea"})
    for (const auto& entry :
         std::filesystem::directory_iterator(std::string(GEARHARK_SOURCE_DIR) + "/tests/fuzz/" + kind)) {
      std::ifstream in(entry.path(), std::ios::binary);
      const std::string text((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
      for (const auto& log : {read_csv_log(text, "f"), read_gpx_log(text, "f"), read_nmea_log(text, "f")})
        if (!log) CHECK_FALSE(log.error().sentence.empty());
      ++files;
    }
  CHECK(files >= 9);
}
