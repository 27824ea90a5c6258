#include "gearhark/speed/pieces.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;

namespace {

TrackedPiece piece(double from_s, Certainty certainty, const char* gear, double rate, double scale) {
  TrackedPiece out{Seconds(from_s), Seconds(40.0), {}};
  out.tracking.wheel = integrate(std::vector<double>(801, rate), 0.05);
  out.tracking.certainty = certainty;
  out.tracking.gear = Gear{gear};
  out.tracking.scale = scale;
  out.tracking.scale_sd = 0.001;
  return out;
}

}  // namespace

TEST_CASE("what was stated of a run holds in its pieces at their own times") {
  StatedSpeed sweep;
  sweep.points = {{Seconds(0), Speed(10)}, {Seconds(100), Speed(20)}};
  const StatedSpeed part = stated_within(sweep, Seconds(40), Seconds(20));
  CHECK(part.points.front().time.value() == Approx(-40.0));
  CHECK(part.points.back().time.value() == Approx(60.0));

  StatedSpeed log;
  log.source = SpeedSource::satellite;
  for (int s = 0; s < 600; ++s) log.points.push_back({Seconds(s), Speed(15)});
  const StatedSpeed about = stated_within(log, Seconds(300), Seconds(50));
  CHECK(about.points.front().time.value() == Approx(-8.0));
  CHECK(about.points.back().time.value() == Approx(58.0));
}

TEST_CASE("pieces in another gear or without a speed do not count in the whole") {
  const std::vector<TrackedPiece> pieces{
      piece(0, Certainty::sure, "4", 10.0, 0.97), piece(40, Certainty::sure, "3", 8.0, 0.96),
      piece(80, Certainty::lost, "3", 30.0, 0.96), piece(120, Certainty::sure, "3", 10.0, 0.96)};
  const Tracking all = joined(pieces, 1, Gear{"4"});
  CHECK(all.gear == Gear{"3"});
  CHECK(all.certainty == Certainty::sure);
  CHECK(all.scale == Approx(0.96));
  CHECK(all.wheel_rate_sd == Approx(0.001 / 0.96 * 9.0));
  CHECK(all.wheel.at(160.0) == Approx(40 * (10 + 8 + 30 + 10)).margin(0.5));
  REQUIRE(all.remarks.size() == 2);
  CHECK_THAT(all.remarks[0], Catch::Contains("In 0.7 of 3 minutes another gear than 3"));
  CHECK_THAT(all.remarks[1], Catch::Contains("In 0.7 of 3 minutes the sound does not support"));
}

TEST_CASE("a run is doubtful where less than half of what is relied on is sure, and lost where nothing is") {
  std::vector<TrackedPiece> pieces{piece(0, Certainty::doubtful, "3", 9.0, 0.97),
                                   piece(40, Certainty::doubtful, "3", 9.0, 0.97),
                                   piece(80, Certainty::sure, "3", 9.0, 0.97)};
  CHECK(joined(pieces, 2, Gear{"3"}).certainty == Certainty::doubtful);
  CHECK(clearest(pieces, common_drive(pieces, Gear{"3"})) == 2);
  for (TrackedPiece& each : pieces) each.tracking.certainty = Certainty::lost;
  CHECK(joined(pieces, 2, Gear{"3"}).certainty == Certainty::lost);
}
