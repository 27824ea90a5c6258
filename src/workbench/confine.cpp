#include "confine.hpp"

#include <fcntl.h>
#include <linux/landlock.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <cstdint>
#include <initializer_list>

namespace gearhark::workbench {
namespace {

constexpr std::uint64_t reading =
    LANDLOCK_ACCESS_FS_EXECUTE | LANDLOCK_ACCESS_FS_READ_FILE | LANDLOCK_ACCESS_FS_READ_DIR;
// All of the first version of the interface, which every kernel with Landlock has.
constexpr std::uint64_t everything = (LANDLOCK_ACCESS_FS_MAKE_SYM << 1) - 1;
constexpr std::uint64_t of_a_file = LANDLOCK_ACCESS_FS_EXECUTE | LANDLOCK_ACCESS_FS_READ_FILE;

// What is not there needs no right.
void allow(int rules, const char* path, std::uint64_t rights) {
  const int place = ::open(path, O_PATH | O_CLOEXEC);
  if (place < 0) return;
  landlock_path_beneath_attr rule{};
  rule.allowed_access = rights;
  rule.parent_fd = place;
  ::syscall(SYS_landlock_add_rule, rules, LANDLOCK_RULE_PATH_BENEATH, &rule, 0);
  ::close(place);
}

}  // namespace

bool confine(const char* folder) {
  landlock_ruleset_attr handled{};
  handled.handled_access_fs = everything;
  const auto rules = static_cast<int>(::syscall(SYS_landlock_create_ruleset, &handled, sizeof handled, 0));
  if (rules < 0) return false;
  for (const char* system : {"/usr", "/lib", "/lib64", "/proc/self"}) allow(rules, system, reading);
  for (const char* file :
       {"/etc/ld.so.cache", "/proc/self/exe", "/dev/null", "/dev/urandom", "/proc/meminfo", "/proc/cpuinfo"})
    allow(rules, file, of_a_file);
  // How many processors there are.
  allow(rules, "/sys/devices/system/cpu", reading);
  allow(rules, folder, everything & ~std::uint64_t{LANDLOCK_ACCESS_FS_EXECUTE});
  ::prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
  const bool done = ::syscall(SYS_landlock_restrict_self, rules, 0) == 0;
  ::close(rules);
  return done;
}

}  // namespace gearhark::workbench
