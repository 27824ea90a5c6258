#include "gearhark/repair/sha256.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;

// FIPS 180-4 example messages as published by NIST (Computer Security Resource Center, example values).
TEST_CASE("SHA-256 of the standard's example messages") {
  CHECK(sha256("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  CHECK(sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256(std::string(1000000, 'a')) ==
        "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_CASE("a file that can't be read has no hash") { CHECK_FALSE(file_hash("/no/such/file")); }
