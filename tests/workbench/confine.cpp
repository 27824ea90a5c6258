#include "../../src/workbench/confine.hpp"

#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>

#include "../folder.hpp"

namespace gearhark::workbench {
namespace {

bool opens(const std::string& path, int how) {
  const int file = ::open(path.c_str(), how, 0600);
  if (file >= 0) ::close(file);
  return file >= 0;
}

TEST_CASE("a confined process reads the system and its folder, and nothing else") {
  const Folder own, other;
  const std::string inside = own.write("inside", "x"), outside = other.write("outside", "x");
  const pid_t child = ::fork();
  if (child == 0) {
    if (!confine((own / "").c_str())) ::_exit(77);
    const bool right = opens(inside, O_RDWR) && opens(own / "new", O_WRONLY | O_CREAT) &&
                       !opens(outside, O_RDONLY) && !opens(other / "new", O_WRONLY | O_CREAT) &&
                       !opens("/etc/passwd", O_RDONLY) && opens("/usr/bin/env", O_RDONLY) &&
                       !opens("/usr/bin/env", O_WRONLY);
    ::_exit(right ? 0 : 1);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  REQUIRE(WIFEXITED(status));
  if (WEXITSTATUS(status) == 77)
    WARN("this kernel has no Landlock: nothing was tested");
  else
    CHECK(WEXITSTATUS(status) == 0);
}

}  // namespace
}  // namespace gearhark::workbench
