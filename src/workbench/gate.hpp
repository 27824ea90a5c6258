// Who may ask for what, by the head of a request alone.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace httplib {
struct Request;
}

namespace gearhark::workbench {

struct Refusal {
  int status;
  std::string sentence;
};

// What every request must have, whatever it asks for: a Host that is this server (a page of another site
// whose name was made to point here has its own), an Origin that is this server or none, no compressed or
// doubled body, no body where none belongs, one range at most. `scheme`: what this server speaks.
std::optional<Refusal> refusal(const httplib::Request& request, const std::vector<std::string>& hosts,
                               std::string_view scheme = "http");

}  // namespace gearhark::workbench
