// The workbench: a web server on this machine, whose page takes a mechanic through the whole job.
//
//   page <-> HTTP on loopback <-> bench (car, recordings, results in a private folder) <-> gearhark as a
//   child
//
// The server computes nothing and decodes nothing: every result is the machine form or the report page that
// this program writes when it is run as a child, with limits on memory and time, on files whose names the
// server made. src/workbench/API.md has the interface and what is refused.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>

#include "gearhark/units/result.hpp"

namespace gearhark {

struct WorkbenchSettings {
  int port = 0;                    // 0: any free one
  std::optional<std::string> lan;  // an IPv4 address of this machine for phones; "": found by itself
  int lan_port = 0;                // 0: any free one
  bool https = false;              // for phones; with a certificate of this program's own making
  std::string data_folder;         // where that certificate is kept, for its owner alone
  bool open_browser = true;        // with xdg-open
  std::string casebook;            // "": the one in the user's data folder
  std::int64_t largest_upload = std::int64_t{512} << 20;  // bytes; an hour of a phone's recorder is 350 MB
  std::int64_t most_stored = std::int64_t{2} << 30;       // bytes of all recordings together
  std::int64_t child_memory = std::int64_t{4} << 30;      // bytes of address space
  std::chrono::seconds child_time{600};
  // How long a client may take over the head of a request, and may be silent within its body.
  std::chrono::milliseconds patience{10000};
};

// Prints the address and serves until SIGINT, SIGTERM or SIGHUP; then ends its children and removes its
// folder. Errors: a port is taken, no address for phones, no temporary folder, no place for the certificate.
std::optional<Error> run_workbench(const WorkbenchSettings& settings);

}  // namespace gearhark
