#include "gearhark/car/car.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

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

std::string part_name(const Car& car, std::string_view id) {
  const Part* part = car.part(id);
  return part && !part->name.empty() ? part->name : std::string(id);
}

Error no_such_part(const Car& car, std::string_view id) {
  constexpr std::size_t shown = 3;
  if (car.parts.empty())
    return {fmt::format("no part \"{}\": the car file has no parts", id), ErrorKind::usage};
  std::vector<std::pair<std::size_t, std::string_view>> near;
  for (const Part& part : car.parts) {
    const bool holds = !id.empty() && std::string_view(part.id).find(id) != std::string_view::npos;
    near.emplace_back(holds ? 0 : edit_distance(id, part.id), part.id);
  }
  std::stable_sort(near.begin(), near.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  std::vector<std::string_view> ids;
  for (std::size_t i = 0; i < std::min(shown, near.size()); ++i) ids.push_back(near[i].second);
  return {fmt::format("the car file has no part \"{}\"; the nearest are {}", id, fmt::join(ids, ", ")),
          ErrorKind::usage};
}

const Part* Car::part(std::string_view id) const { return find_id(parts, id); }
const Bearing* Car::bearing(std::string_view id) const { return find_id(bearings, id); }
const GearPair* Car::pair(std::string_view id) const { return find_id(pairs, id); }

}  // namespace gearhark
