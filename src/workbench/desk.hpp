// The mechanic's side of the server: page, interface, results. Loopback alone.
#pragma once

#include <string>

#include "answers.hpp"
#include "guarded_server.hpp"
#include "phones.hpp"

namespace gearhark::workbench {

struct DeskKeys {
  std::string token;   // in a header of every request to /api/, from the address that was printed
  std::string viewer;  // in a cookie, for what a browser fetches by itself: sound, report pages
};

// `phones`: nullptr without --lan.
void set_up_desk(GuardedServer& server, Bench& bench, const DeskKeys& keys, int port, Phones* phones);

}  // namespace gearhark::workbench
