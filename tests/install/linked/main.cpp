// A program of somebody else: linked CAR.toml PART prints at how many Hz that part's teeth mesh at 50 km/h in
// gear 3.
#include <cstdio>
#include <string_view>

#include "gearhark/car/orders.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"

int main(int count, char** words) {
  const auto car = gearhark::load_car(count == 3 ? words[1] : "");
  if (!car) return std::puts(car.error().sentence.c_str()), 1;
  gearhark::OrdersQuestion question;
  question.state.gear = {"3"};
  question.speed = gearhark::Speed(50.0 / 3.6);
  const auto table = gearhark::order_table(*car, question);
  if (!table) return std::puts(table.error().sentence.c_str()), 1;
  for (const auto& row : table->rows)
    if (row.part == words[2] && row.frequency && row.happening.find("mesh") != std::string_view::npos)
      return std::printf("%.4f\n", row.frequency->value()), 0;
  // The whole chain is there to be linked, decoding included.
  return gearhark::diagnose(*car, {}).suspects.empty() ? 1 : 2;
}
