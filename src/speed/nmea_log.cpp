#include <fmt/format.h>

#include <cmath>

#include "gearhark/speed/logs.hpp"
#include "gearhark/units/text.hpp"
#include "log_text.hpp"
#include "utc.hpp"

namespace gearhark {
namespace {

using namespace logs;

constexpr double kKnot = 1852.0 / 3600.0;  // m/s, exact by definition

enum class Checksum { right, wrong, missing };

// XOR of what lies between '$' and '*'; `body` loses both.
Checksum check(std::string_view& body) {
  body.remove_prefix(1);
  const auto star = body.rfind('*');
  if (star == std::string_view::npos) return Checksum::missing;
  unsigned sum = 0;
  for (const char c : body.substr(0, star)) sum ^= static_cast<unsigned char>(c);
  const std::string said(trimmed(body.substr(star + 1)));
  body = body.substr(0, star);
  return said == fmt::format("{:02X}", sum) || said == fmt::format("{:02x}", sum) ? Checksum::right
                                                                                  : Checksum::wrong;
}

std::optional<double> field(const std::vector<std::string_view>& fields, std::size_t index) {
  return index < fields.size() ? number(fields[index]) : std::nullopt;
}

// hhmmss.ss as seconds of the day.
std::optional<double> time_of_day(const std::vector<std::string_view>& fields, std::size_t index) {
  const auto packed = field(fields, index);
  if (!packed || *packed < 0.0 || *packed >= 240000.0) return {};
  const double hours = std::floor(*packed / 10000.0), minutes = std::floor(*packed / 100.0) - 100.0 * hours;
  const double seconds = *packed - 10000.0 * hours - 100.0 * minutes;
  if (minutes > 59.0 || seconds >= 61.0) return {};
  return 3600.0 * hours + 60.0 * minutes + seconds;
}

// ddmmyy; two-digit years from 1980 (the system's first epoch) to 2079.
std::optional<double> date_at(const std::vector<std::string_view>& fields, std::size_t index,
                              double seconds) {
  const auto packed = field(fields, index);
  if (!packed || *packed < 0.0 || *packed > 999999.0) return {};
  const auto whole = static_cast<unsigned>(*packed);
  const unsigned year = whole % 100;
  return utc_seconds(static_cast<int>(year + (year < 80 ? 2000 : 1900)), whole / 100 % 100, whole / 10000,
                     seconds);
}

class Reader {
 public:
  SpeedLog log;

  void sentence(std::string_view line) {
    if (line.size() < 7) return;
    std::string_view body = line;
    if (check(body) == Checksum::wrong) {
      ++log.bad_checksums;
      return;
    }
    const auto fields = split(body, ',');
    if (fields[0].size() != 5) return;
    const std::string_view kind = fields[0].substr(2);
    if (kind == "RMC") recommended_minimum(fields);
    if (kind == "VTG") track_and_speed(fields);
  }

 private:
  std::optional<double> zero_;  // time of the first fix
  bool pending_ = false;        // the last RMC had a time but no speed
  double pending_time_ = 0.0;

  void recommended_minimum(const std::vector<std::string_view>& fields) {
    pending_ = false;
    const auto seconds = time_of_day(fields, 1);
    if (!seconds || fields.size() < 8 || trimmed(fields[2]) != "A") {
      ++log.without_fix;
      return;
    }
    const auto utc = date_at(fields, 9, *seconds);
    const double time = utc.value_or(*seconds);
    const auto knots = field(fields, 7);
    if (knots) add(time, *knots * kKnot, utc);
    pending_ = !knots;
    pending_time_ = time;
  }

  void track_and_speed(const std::vector<std::string_view>& fields) {
    const auto knots = field(fields, 5), kmh = field(fields, 7);
    if (pending_ && (knots || kmh)) add(pending_time_, knots ? *knots * kKnot : *kmh / 3.6, {});
    pending_ = false;
  }

  void add(double time, double speed, std::optional<double> utc) {
    if (!zero_) {
      zero_ = time;
      log.first_utc = utc;
    }
    double since = time - *zero_;
    while (since < 0.0 && since > -86400.0) since += 86400.0;  // no date, past midnight
    const bool rising = log.points.empty() || since > log.points.back().time.value();
    if (!rising || since < 0.0 || speed < 0.0 || speed > kFastest)
      ++log.without_fix;
    else
      log.points.push_back({Seconds(since), Speed(speed)});
  }
};

}  // namespace

Result<SpeedLog> read_nmea_log(std::string_view text, std::string_view file) {
  Reader reader;
  for (const std::string_view line : lines_of(text)) {
    const auto start = line.find('$');  // loggers put their own stamp before it
    if (start != std::string_view::npos) reader.sentence(trimmed(line.substr(start)));
  }
  if (reader.log.points.empty())
    return Error{
        fmt::format("{}: found no RMC sentence with a valid fix and a speed ({} had a wrong checksum, {} no "
                    "fix); log with the sky in view",
                    file, reader.log.bad_checksums, reader.log.without_fix)};
  reader.log.unit = SpeedUnit::kmh;
  return std::move(reader.log);
}

}  // namespace gearhark
