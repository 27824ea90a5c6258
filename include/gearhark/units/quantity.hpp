// A type per physical quantity. Construction is explicit and leaving the type is spelled out with .value();
// only operations that make physical sense exist.
#pragma once

#include <cmath>
#include <compare>
#include <numbers>

namespace gearhark {

// A real number with a physical meaning. `Tag` names the meaning; the unit of value() stands at each alias
// below.
template <class Tag>
class Quantity {
 public:
  constexpr Quantity() = default;
  constexpr explicit Quantity(double value) : value_(value) {}
  [[nodiscard]] constexpr double value() const { return value_; }

  constexpr auto operator<=>(const Quantity&) const = default;
  constexpr Quantity operator-() const { return Quantity(-value_); }
  constexpr Quantity& operator+=(Quantity other) {
    value_ += other.value_;
    return *this;
  }
  constexpr Quantity& operator-=(Quantity other) {
    value_ -= other.value_;
    return *this;
  }
  friend constexpr Quantity operator+(Quantity a, Quantity b) { return Quantity(a.value_ + b.value_); }
  friend constexpr Quantity operator-(Quantity a, Quantity b) { return Quantity(a.value_ - b.value_); }
  friend constexpr Quantity operator*(Quantity a, double factor) { return Quantity(a.value_ * factor); }
  friend constexpr Quantity operator*(double factor, Quantity a) { return a * factor; }
  friend constexpr Quantity operator/(Quantity a, double divisor) { return Quantity(a.value_ / divisor); }
  friend constexpr double operator/(Quantity a, Quantity b) { return a.value_ / b.value_; }

 private:
  double value_ = 0.0;
};

using Hertz = Quantity<struct HertzTag>;          // cycles per second
using ShaftRate = Quantity<struct ShaftRateTag>;  // turns per second of a shaft
using Order = Quantity<struct OrderTag>;          // cycles per turn of a named reference shaft
using Turns = Quantity<struct TurnsTag>;          // shaft angle, whole turns = 1
using Seconds = Quantity<struct SecondsTag>;      // s
using Speed = Quantity<struct SpeedTag>;          // m/s over the road
using Length = Quantity<struct LengthTag>;        // m

// A level ratio in decibels. A bare number is ambiguous, so say what it is: 10 lg of a power ratio, 20 lg of
// an amplitude ratio, or a number already in dB.
class Decibels {
 public:
  constexpr Decibels() = default;
  [[nodiscard]] static constexpr Decibels already(double db) { return Decibels(db); }
  [[nodiscard]] static Decibels of_power_ratio(double ratio) { return Decibels(10.0 * std::log10(ratio)); }
  [[nodiscard]] static Decibels of_amplitude_ratio(double ratio) {
    return Decibels(20.0 * std::log10(ratio));
  }
  [[nodiscard]] constexpr double value() const { return db_; }
  [[nodiscard]] double power_ratio() const { return std::pow(10.0, db_ / 10.0); }
  [[nodiscard]] double amplitude_ratio() const { return std::pow(10.0, db_ / 20.0); }
  constexpr auto operator<=>(const Decibels&) const = default;
  friend constexpr Decibels operator+(Decibels a, Decibels b) { return Decibels(a.db_ + b.db_); }
  friend constexpr Decibels operator-(Decibels a, Decibels b) { return Decibels(a.db_ - b.db_); }

 private:
  constexpr explicit Decibels(double db) : db_(db) {}
  double db_ = 0.0;
};

// A number clamped to [0, 1]; NaN becomes 0.
class Probability {
 public:
  constexpr Probability() = default;
  constexpr explicit Probability(double p) : p_(p > 0.0 ? (p < 1.0 ? p : 1.0) : 0.0) {}
  [[nodiscard]] constexpr double value() const { return p_; }
  [[nodiscard]] constexpr Probability complement() const { return Probability(1.0 - p_); }
  constexpr auto operator<=>(const Probability&) const = default;

 private:
  double p_ = 0.0;
};

constexpr Hertz operator*(Order order, ShaftRate turns) { return Hertz(order.value() * turns.value()); }
constexpr Hertz operator*(ShaftRate turns, Order order) { return order * turns; }
constexpr Order operator/(Hertz frequency, ShaftRate turns) {
  return Order(frequency.value() / turns.value());
}
constexpr ShaftRate operator/(Speed speed, Length circumference) {
  return ShaftRate(speed.value() / circumference.value());
}
constexpr Speed operator*(ShaftRate turns, Length circumference) {
  return Speed(turns.value() * circumference.value());
}
constexpr Turns operator*(ShaftRate turns, Seconds time) { return Turns(turns.value() * time.value()); }

namespace literals {
constexpr Hertz operator""_Hz(long double v) { return Hertz(static_cast<double>(v)); }
constexpr Hertz operator""_Hz(unsigned long long v) { return Hertz(static_cast<double>(v)); }
constexpr Seconds operator""_s(long double v) { return Seconds(static_cast<double>(v)); }
constexpr Seconds operator""_s(unsigned long long v) { return Seconds(static_cast<double>(v)); }
constexpr Length operator""_mm(long double v) { return Length(static_cast<double>(v) * 1e-3); }
constexpr Length operator""_mm(unsigned long long v) { return Length(static_cast<double>(v) * 1e-3); }
constexpr Length operator""_in(long double v) { return Length(static_cast<double>(v) * 0.0254); }
constexpr Speed operator""_kmh(long double v) { return Speed(static_cast<double>(v) / 3.6); }
constexpr Speed operator""_kmh(unsigned long long v) { return Speed(static_cast<double>(v) / 3.6); }
constexpr Speed operator""_mph(long double v) { return Speed(static_cast<double>(v) * 0.44704); }
constexpr Speed operator""_mph(unsigned long long v) { return Speed(static_cast<double>(v) * 0.44704); }
}  // namespace literals

}  // namespace gearhark
