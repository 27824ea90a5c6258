#include "picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "html.hpp"

namespace gearhark::report {
namespace {

// Of the picture's height: the curve's top and the axis, in percent.
constexpr double top = 12.0, axis = 88.0;
constexpr double least_top_db = 10.0;
constexpr double black_db = 18.0;  // and more, in an order map

struct Axis {
  double low = 0.0, high = 1.0;
  [[nodiscard]] double share(double value) const { return (value - low) / (high - low); }
};

double across(const Axis& x, double value) { return 100.0 * x.share(value); }
double up(const Axis& y, double value) { return axis - (axis - top) * y.share(value); }

// Numbers as short as they can be.
std::string plain(double value) { return fmt::format("{:g}", std::abs(value) < 1e-9 ? 0.0 : value); }

std::string open(const char* kind, const std::string& says) {
  return fmt::format("<svg class=\"{}\" role=\"img\" aria-label=\"{}\">\n", kind, escaped(says));
}

std::string line(const char* kind, double x1, double y1, double x2, double y2) {
  return fmt::format("<line class=\"{}\" x1=\"{:.2f}%\" y1=\"{:.2f}%\" x2=\"{:.2f}%\" y2=\"{:.2f}%\"/>\n",
                     kind, x1, y1, x2, y2);
}

std::string text(const char* kind, double x, double y, const char* anchor, const std::string& words) {
  return fmt::format("<text class=\"{}\" x=\"{:.2f}%\" y=\"{:.2f}%\" text-anchor=\"{}\">{}</text>\n", kind, x,
                     y, anchor, escaped(words));
}

std::string across_axis(const Axis& x, int wanted) {
  std::string out = line("axis", 0, axis, 100, axis);
  for (const double tick : ticks(x.low, x.high, wanted)) {
    const double at = across(x, tick);
    out += line("axis", at, axis, at, axis + 2.0);
    out += text("tick", at, 98.0, at < 3.0 ? "start" : at > 97.0 ? "end" : "middle", plain(tick));
  }
  return out;
}

std::string grid(const Axis& y) {
  std::string out;
  for (const double tick : ticks(y.low, y.high, 4)) out += line("grid", 0, up(y, tick), 100, up(y, tick));
  return out;
}

// Over the curve, on a rim of the paper's colour.
std::string up_axis(const Axis& y, const std::string& unit) {
  std::string out;
  for (const double tick : ticks(y.low, y.high, 4))
    out += text("tick", 0, up(y, tick) - 1.0, "start", plain(tick) + unit);
  return out;
}

// The curve's values on equal steps, stretched over x0..x1 percent.
std::string curve(const char* kind, const Axis& y, const std::vector<double>& values, double x0, double x1) {
  std::string points;
  for (std::size_t i = 0; i < values.size(); ++i)
    points += fmt::format("{},{:.0f} ", i, 1000.0 * (1.0 - std::clamp(y.share(values[i]), 0.0, 1.0)));
  return fmt::format(
      "<svg x=\"{:.2f}%\" y=\"{:.2f}%\" width=\"{:.2f}%\" height=\"{:.2f}%\" viewBox=\"0 0 {} 1000\" "
      "preserveAspectRatio=\"none\"><polyline class=\"{}\" points=\"{}\"/></svg>\n",
      x0, top, x1 - x0, axis - top, std::max<std::size_t>(1, values.size() - 1), kind, points);
}

// Numbers of marks, moved to a second row where they would run into each other.
std::string marks(const std::vector<Mark>& all, const Axis& x, double bottom) {
  std::string out;
  double last = -100.0;
  bool raised = false;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const double at = across(x, all[i].order.value());
    if (at < 0.0 || at > 100.0) continue;
    out += line(all[i].found ? "found" : "looked", at, top - 1.0, at, bottom);
    if (!all[i].found) continue;
    raised = at - last < 4.0 && !raised;
    last = at;
    out += text("number", at, raised ? 4.5 : 10.0, at > 97.0 ? "end" : "middle", fmt::format("{}", i + 1));
  }
  return out;
}

void append(std::string& out, std::uint32_t value) {
  for (int shift = 24; shift >= 0; shift -= 8) out += static_cast<char>(value >> shift & 0xFF);
}

// PNG's checksum (ISO 3309).
std::uint32_t crc32(std::string_view bytes) {
  std::uint32_t crc = 0xFFFFFFFFu;
  for (const char c : bytes) {
    crc ^= static_cast<unsigned char>(c);
    for (int bit = 0; bit < 8; ++bit) crc = crc & 1 ? crc >> 1 ^ 0xEDB88320u : crc >> 1;
  }
  return ~crc;
}

std::uint32_t adler32(std::string_view bytes) {
  std::uint32_t a = 1, b = 0;
  for (const char c : bytes) {
    a = (a + static_cast<unsigned char>(c)) % 65521;
    b = (b + a) % 65521;
  }
  return b << 16 | a;
}

std::string chunk(const std::string& kind, const std::string& data) {
  std::string out;
  append(out, static_cast<std::uint32_t>(data.size()));
  out += kind + data;
  append(out, crc32(kind + data));
  return out;
}

// zlib's form (RFC 1950) of blocks that are stored as they are (RFC 1951).
std::string stored(const std::string& data) {
  std::string out("\x78\x01", 2);
  for (std::size_t at = 0; at < data.size() || at == 0;) {
    const std::size_t length = std::min<std::size_t>(65535, data.size() - at);
    out += at + length == data.size() ? '\1' : '\0';
    for (const std::size_t word : {length, length ^ 0xFFFFu}) {
      out += static_cast<char>(word & 0xFF);
      out += static_cast<char>(word >> 8 & 0xFF);
    }
    out += data.substr(at, length);
    at += std::max<std::size_t>(1, length);
  }
  append(out, adler32(data));
  return out;
}

std::vector<double> in_unit(const std::vector<double>& mps, SpeedUnit unit) {
  const double factor = unit == SpeedUnit::mph     ? 1.0 / 0.44704
                        : unit == SpeedUnit::knots ? 3600.0 / 1852.0
                        : unit == SpeedUnit::mps   ? 1.0
                                                   : 3.6;
  std::vector<double> out(mps);
  for (double& value : out) value *= factor;
  return out;
}

}  // namespace

std::vector<double> ticks(double low, double high, int wanted) {
  if (!(high > low)) return {};
  const double rough = (high - low) / wanted, decade = std::pow(10.0, std::floor(std::log10(rough)));
  const double step = decade * (rough / decade < 1.5   ? 1.0
                                : rough / decade < 3.5 ? 2.0
                                : rough / decade < 7.5 ? 5.0
                                                       : 10.0);
  std::vector<double> out;
  for (double k = std::ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k += 1.0)
    out.push_back(k * step);
  return out;
}

std::string spectrum_svg(const DrawnSpectrum& s, const std::string& says) {
  const std::vector<double> db(s.db.begin(), s.db.end());
  if (db.empty()) return "";
  const double highest = *std::max_element(db.begin(), db.end());
  const Axis x{0.0, s.first + s.step * static_cast<double>(db.size())},
      y{-3.0, std::max(least_top_db, highest * 1.02)};
  std::string out = open("plot still", says) + grid(y);
  for (const Mark& m : s.healthy)
    out += line("healthy", across(x, m.order.value()), top, across(x, m.order.value()), axis);
  out += marks(s.marks, x, axis);
  out += curve("curve", y, db, across(x, s.first),
               across(x, s.first + s.step * static_cast<double>(db.size() - 1)));
  return out + up_axis(y, " dB") + across_axis(x, 8) + "</svg>\n";
}

std::string speed_svg(const SpeedCurve& c, SpeedUnit unit, const std::string& says) {
  const std::vector<double> found = in_unit(c.found_mps, unit), told = in_unit(c.told_mps, unit);
  if (found.size() < 2) return "";
  std::vector<double> both(found);
  both.insert(both.end(), told.begin(), told.end());
  const auto [low, high] = std::minmax_element(both.begin(), both.end());
  const double room = std::max(1.0, 0.15 * (*high - *low));
  const Axis x{0.0, c.step.value() * static_cast<double>(found.size() - 1)}, y{*low - room, *high + room};
  std::string out = open("plot low", says) + grid(y);
  if (!told.empty()) out += curve("told", y, told, 0, 100);
  return out + curve("curve thick", y, found, 0, 100) + up_axis(y, "") + across_axis(x, 6) + "</svg>\n";
}

std::string map_svg(const OrderMap& m, const std::string& says) {
  std::vector<std::uint8_t> grey(m.db.size());
  for (std::size_t i = 0; i < grey.size(); ++i)
    grey[i] = static_cast<std::uint8_t>(
        std::lround(255.0 * (1.0 - std::clamp(static_cast<double>(m.db[i]) / black_db, 0.0, 1.0))));
  const Axis x{0.0, m.to};
  std::string out = open("plot map", says);
  out += fmt::format(
      "<svg x=\"0\" y=\"{0}%\" width=\"100%\" height=\"{1}%\" viewBox=\"0 0 {2} {3}\" "
      "preserveAspectRatio=\"none\"><image width=\"{2}\" height=\"{3}\" preserveAspectRatio=\"none\" "
      "href=\"data:image/png;base64,{4}\"/></svg>\n",
      top, axis - top, m.columns, m.rows, base64(grey_png(m.columns, m.rows, grey)));
  // Marks above the map alone: they must not be taken for what was heard.
  out += marks(m.marks, x, top + 2.0);
  return out + across_axis(x, 8) + "</svg>\n";
}

std::string bar_svg(double value, double most) {
  return fmt::format(
      "<svg class=\"bar\" aria-hidden=\"true\"><rect class=\"frame\" width=\"100%\" height=\"100%\"/><rect "
      "class=\"length\" width=\"{:.2f}%\" height=\"100%\"/></svg>",
      most > 0.0 ? 100.0 * std::clamp(value / most, 0.0, 1.0) : 0.0);
}

std::string interval_svg(const Interval& interval, double axis_low, double axis_high) {
  const Axis x{axis_low, axis_high};
  const auto at = [&](double value) { return std::clamp(across(x, value), 0.0, 100.0); };
  return std::string("<svg class=\"interval\" aria-hidden=\"true\">") + line("axis", 0, 50, 100, 50) +
         line("zero", at(0.0), 0, at(0.0), 100) + line("range", at(interval.low), 50, at(interval.high), 50) +
         fmt::format("<circle class=\"middle\" cx=\"{:.2f}%\" cy=\"50%\" r=\"7\"/></svg>",
                     at(interval.middle));
}

std::string grey_png(std::size_t width, std::size_t height, const std::vector<std::uint8_t>& grey) {
  std::string head;
  append(head, static_cast<std::uint32_t>(width));
  append(head, static_cast<std::uint32_t>(height));
  head += std::string("\x08\x00\x00\x00\x00", 5);  // eight bits, grey
  std::string rows;
  for (std::size_t y = 0; y < height; ++y) {
    rows += '\0';  // no filter
    for (std::size_t x = 0; x < width; ++x) rows += static_cast<char>(grey[y * width + x]);
  }
  return "\x89PNG\r\n\x1a\n" + chunk("IHDR", head) + chunk("IDAT", stored(rows)) + chunk("IEND", "");
}

}  // namespace gearhark::report
