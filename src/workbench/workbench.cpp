#include "gearhark/workbench/workbench.hpp"

#include <fmt/format.h>
#include <signal.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdio>
#include <fstream>
#include <thread>

#include "certificate.hpp"
#include "desk.hpp"
#include "secrets.hpp"

extern char** environ;

namespace gearhark {
namespace {

using namespace workbench;

sigset_t ending_signals() {
  sigset_t set;
  ::sigemptyset(&set);
  for (const int one : {SIGINT, SIGTERM, SIGHUP}) ::sigaddset(&set, one);
  return set;
}

// Many connections at once are many open files.
void allow_many_files() {
  rlimit files{};
  if (::getrlimit(RLIMIT_NOFILE, &files) != 0) return;
  files.rlim_cur = std::min<rlim_t>(4096, files.rlim_max);
  ::setrlimit(RLIMIT_NOFILE, &files);
}

// A page in a folder of the user's own that goes on to the address: every user of this machine can read the
// arguments of a program, so the token must not be one. Failing is no error; the address was printed.
void open_browser(const std::string& address, const PrivateFolder& folder) {
  const std::string page = (folder / "open.html").string();
  std::ofstream(page) << "<!DOCTYPE html><html lang=\"en\"><meta charset=\"utf-8\"><title>Workbench</title>"
                      << "<meta http-equiv=\"refresh\" content=\"0; url=" << address << "\"><p><a href=\""
                      << address << "\">Workbench</a></p></html>\n";
  std::string program = "xdg-open", argument = page;
  std::array<char*, 3> words{program.data(), argument.data(), nullptr};
  posix_spawn_file_actions_t quiet;
  ::posix_spawn_file_actions_init(&quiet);
  for (const int end : {1, 2}) ::posix_spawn_file_actions_addopen(&quiet, end, "/dev/null", O_WRONLY, 0);
  posix_spawnattr_t fresh;
  ::posix_spawnattr_init(&fresh);
  sigset_t none;
  ::sigemptyset(&none);
  ::posix_spawnattr_setsigmask(&fresh, &none);
  ::posix_spawnattr_setflags(&fresh, POSIX_SPAWN_SETSIGMASK);
  pid_t child = 0;
  if (::posix_spawnp(&child, program.c_str(), &quiet, &fresh, words.data(), environ) == 0)
    std::thread([child] { ::waitpid(child, nullptr, 0); }).detach();
  ::posix_spawnattr_destroy(&fresh);
  ::posix_spawn_file_actions_destroy(&quiet);
}

// Listens; returns the port, 0 where it can't.
int bind(GuardedServer& server, const std::string& address, int port) {
  const int bound = port == 0                            ? std::max(0, server.bind_to_any_port(address))
                    : server.bind_to_port(address, port) ? port
                                                         : 0;
  if (bound > 0) server.widen_queue();
  return bound;
}

Error port_taken(const std::string& address, int port) {
  return {fmt::format(
      "{}:{} can't be listened on; another program may have it, so leave --port out or name another", address,
      port)};
}

Patience patience_of(const WorkbenchSettings& settings) {
  Patience out;
  out.head = out.silence = settings.patience;
  return out;
}

void announce(const std::string& address, const Phones* phones) {
  fmt::print("The workbench is at\n  {}\n", address);
  if (phones)
    fmt::print("Phones on this network: {}://{}/ with the code that the workbench shows\n", phones->scheme(),
               phones->address());
  if (phones && phones->scheme() == "https")
    fmt::print(
        "The phone warns that it does not know who made the certificate: this program made it itself. Go on\n"
        "there if the SHA-256 fingerprint that the phone shows in the details of the warning is\n  {}\n",
        phones->fingerprint());
  fmt::print("Ctrl-C ends it; recordings and results that were not kept in the casebook go with it.\n");
  std::fflush(stdout);
}

std::optional<Error> serve(const WorkbenchSettings& settings) {
  // The bench goes last: servers hand out its parts.
  Bench bench(settings);
  GuardedServer desk(patience_of(settings)), gate(patience_of(settings));
  for (GuardedServer* server : {&desk, &gate})
    server->set_payload_max_length(static_cast<std::size_t>(settings.largest_upload));
  const int port = bind(desk, "127.0.0.1", settings.port);
  if (port == 0) return port_taken("127.0.0.1", settings.port);

  std::optional<Phones> phones;
  if (settings.lan) {
    const std::string address = settings.lan->empty() ? own_address() : *settings.lan;
    if (address.empty())
      return Error{"this machine is on no network that a phone could reach; join one, or leave --lan out"};
    const int lan_port = bind(gate, address, settings.lan_port);
    if (lan_port == 0 && settings.lan_port != 0)
      return Error{
          fmt::format("{}:{} can't be listened on; another program may have it, so name another port with "
                      "--lan-port, or {} is no address of this machine",
                      address, settings.lan_port, address)};
    if (lan_port == 0)
      return Error{
          fmt::format("{} is no address of this machine; name one that is, or leave it out", address)};
    const std::string reached = fmt::format("{}:{}", address, lan_port);
    std::string fingerprint;
    if (settings.https) {
      auto certificate = certificate_for(address, settings.data_folder);
      if (!certificate) return certificate.error();
      fingerprint = certificate->fingerprint;
      gate.use_https(certificate->context, reached);
    }
    phones.emplace(reached, fingerprint);
    set_up_phones(gate, bench, *phones);
  }
  const DeskKeys keys{random_token(), random_token()};
  set_up_desk(desk, bench, keys, port, phones ? &*phones : nullptr);

  std::jthread desk_thread([&] { desk.listen_after_bind(); });
  std::jthread gate_thread([&] {
    if (phones) gate.listen_after_bind();
  });
  // A server that does not listen yet can't be told to stop.
  while (!desk.is_running() || (phones && !gate.is_running()))
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  const std::string address = fmt::format("http://127.0.0.1:{}/#{}", port, keys.token);
  announce(address, phones ? &*phones : nullptr);
  std::optional<PrivateFolder> opener;
  if (settings.open_browser) open_browser(address, opener.emplace());

  const sigset_t ending = ending_signals();
  int received = 0;
  ::sigwait(&ending, &received);
  desk.stop();
  gate.stop();
  return std::nullopt;
}

}  // namespace

std::optional<Error> run_workbench(const WorkbenchSettings& settings) {
  const sigset_t ending = ending_signals();
  // Blocked in every thread that is made from here on; one thread waits for them.
  ::pthread_sigmask(SIG_BLOCK, &ending, nullptr);
  ::signal(SIGPIPE, SIG_IGN);
  allow_many_files();
  try {
    return serve(settings);
  } catch (const std::filesystem::filesystem_error& e) {
    return Error{fmt::format("the workbench needs a temporary folder ({}); make room, or set TMPDIR to one",
                             e.what())};
  }
}

}  // namespace gearhark
