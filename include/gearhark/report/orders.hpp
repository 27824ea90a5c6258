// The tables of `gearhark orders` and `gearhark teeth` as text and JSON.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "gearhark/car/orders.hpp"
#include "gearhark/car/teeth.hpp"

namespace gearhark {

// Speeds in the unit the user wrote.
std::string orders_text(const OrderTable& table, SpeedUnit unit);
std::string orders_json(const OrderTable& table);

std::string teeth_text(std::string_view ratio, const std::vector<ToothPair>& pairs);
std::string teeth_json(std::string_view ratio, const std::vector<ToothPair>& pairs);

}  // namespace gearhark
