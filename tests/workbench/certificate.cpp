#include "../../src/workbench/certificate.hpp"

#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <utility>

#include "../../src/workbench/private_folder.hpp"

namespace gearhark::workbench {
namespace {

std::string fingerprint(const std::string& address, const std::filesystem::path& folder) {
  const auto made = certificate_for(address, folder);
  REQUIRE(made);
  CHECK(made->fingerprint.size() == 95);
  return made->fingerprint;
}

TEST_CASE("a certificate is made once for an address, and its owner alone can read it") {
  const PrivateFolder folder;
  const auto place = folder / "made here";
  const std::string first = fingerprint("192.168.1.20", place);
  CHECK(fingerprint("192.168.1.20", place) == first);
  CHECK(fingerprint("192.168.1.21", place) != first);
  struct stat facts {};
  REQUIRE(::stat((place / "https_192.168.1.20.pem").c_str(), &facts) == 0);
  CHECK((facts.st_mode & 0777) == 0600);
}

TEST_CASE("a certificate that is spoilt, another address's or open to others is made again") {
  const PrivateFolder folder;
  const auto file = folder / "https_192.168.1.20.pem", other = folder / "https_192.168.1.21.pem";
  std::string last = fingerprint("192.168.1.20", folder.path());
  const auto changes = [&] {
    const std::string before = std::exchange(last, fingerprint("192.168.1.20", folder.path()));
    return before != last;
  };
  CHECK_FALSE(changes());
  std::filesystem::resize_file(file, 300);
  CHECK(changes());
  ::chmod(file.c_str(), 0640);
  CHECK(changes());
  fingerprint("192.168.1.21", folder.path());
  std::filesystem::rename(other, file);
  CHECK(changes());
  CHECK_FALSE(changes());
}

TEST_CASE("where no certificate can be kept, the sentence names the file") {
  const PrivateFolder folder;
  std::ofstream(folder / "file") << "no folder";
  const auto made = certificate_for("192.168.1.20", folder / "file");
  REQUIRE_FALSE(made);
  CHECK_THAT(made.error().sentence,
             Catch::Contains("https_192.168.1.20.pem") && Catch::Contains("XDG_DATA_HOME"));
}

}  // namespace
}  // namespace gearhark::workbench
