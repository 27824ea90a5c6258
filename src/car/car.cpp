#include "gearhark/car/car.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace gearhark {
namespace {

template <class T>
const T* find_id(const std::vector<T>& items, std::string_view id) {
  const auto at = std::find_if(items.begin(), items.end(), [&](const T& item) { return item.id == id; });
  return at == items.end() ? nullptr : &*at;
}

}  // namespace

double Bearing::gamma() const {
  return element_diameter->value() / pitch_diameter->value() *
         std::cos(contact_angle_degrees * std::numbers::pi / 180.0);
}

const Part* Car::part(std::string_view id) const { return find_id(parts, id); }
const Bearing* Car::bearing(std::string_view id) const { return find_id(bearings, id); }
const GearPair* Car::pair(std::string_view id) const { return find_id(pairs, id); }

}  // namespace gearhark
