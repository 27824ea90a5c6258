#include "gearhark/car/teeth.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <numeric>

namespace gearhark {
namespace {

constexpr int fewest = 5, most_driving = 60, most_driven = 100;
constexpr double final_drives_from = 2.5;
constexpr int usual_wheel = 40, usual_total = 60, common_factor_penalty = 4;

// Teeth away from the usual build; lower is commoner.
int oddness(const ToothPair& pair) {
  const int away = pair.ratio >= final_drives_from ? std::abs(pair.driven - usual_wheel)
                                                   : std::abs(pair.driving + pair.driven - usual_total) / 2;
  return away + (pair.hunting ? 0 : common_factor_penalty);
}

}  // namespace

Result<std::vector<ToothPair>> tooth_pairs_for_ratio(std::string_view text) {
  double ratio = 0.0;
  const auto [end, error] =
      std::from_chars(text.data(), text.data() + text.size(), ratio, std::chars_format::fixed);
  if (error != std::errc{} || end != text.data() + text.size() || !(ratio >= 0.2 && ratio <= 12.0))
    return Error{
        fmt::format(
            "\"{}\" is not a gear ratio; write driven over driving as a number from 0.2 to 12, such as 4.11",
            text),
        ErrorKind::usage};
  const auto point = text.find('.');
  const double half_digit =
      0.5 * std::pow(10.0, point == std::string_view::npos ? 0 : -static_cast<int>(text.size() - point - 1));
  std::vector<ToothPair> out;
  for (int driving = fewest; driving <= most_driving; ++driving)
    for (int driven = fewest; driven <= most_driven; ++driven) {
      const double found = static_cast<double>(driven) / driving;
      if (std::abs(found - ratio) <= half_digit * (1.0 + 1e-9))
        out.push_back({driving, driven, found, std::gcd(driving, driven) == 1});
    }
  std::stable_sort(out.begin(), out.end(),
                   [](const ToothPair& a, const ToothPair& b) { return oddness(a) < oddness(b); });
  return out;
}

}  // namespace gearhark
