#include "certificate.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <ctime>

namespace gearhark::workbench {
namespace {

namespace fs = std::filesystem;

constexpr long day_s = 86400;
constexpr long valid_s = 825 * day_s;  // phones take no certificate that is made for longer

struct Free {
  void operator()(BIO* one) const { BIO_free_all(one); }
  void operator()(EVP_PKEY* one) const { EVP_PKEY_free(one); }
  void operator()(X509* one) const { X509_free(one); }
  void operator()(X509_EXTENSION* one) const { X509_EXTENSION_free(one); }
};
using Bio = std::unique_ptr<BIO, Free>;
using Key = std::unique_ptr<EVP_PKEY, Free>;
using Paper = std::unique_ptr<X509, Free>;

struct Pair {
  Key key;
  Paper paper;
};

// The text of the file; "": there is none that only its owner can read.
std::string private_text(const fs::path& file) {
  const int open = ::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
  if (open < 0) return "";
  struct stat facts {};
  std::string text;
  std::array<char, 4096> bytes;
  if (::fstat(open, &facts) == 0 && facts.st_uid == ::geteuid() && (facts.st_mode & 077) == 0)
    for (ssize_t got; (got = ::read(open, bytes.data(), bytes.size())) > 0 && text.size() < 65536;)
      text.append(bytes.data(), static_cast<std::size_t>(got));
  ::close(open);
  return text;
}

bool usable(const Pair& pair, const std::string& address) {
  if (!pair.key || !pair.paper || X509_check_private_key(pair.paper.get(), pair.key.get()) != 1) return false;
  std::time_t tomorrow = std::time(nullptr) + day_s;
  return X509_cmp_time(X509_get0_notAfter(pair.paper.get()), &tomorrow) > 0 &&
         X509_check_ip_asc(pair.paper.get(), address.c_str(), 0) == 1;
}

Pair read(const std::string& text) {
  const Bio from(BIO_new_mem_buf(text.data(), static_cast<int>(text.size())));
  Pair out;
  out.key.reset(PEM_read_bio_PrivateKey(from.get(), nullptr, nullptr, nullptr));
  out.paper.reset(PEM_read_bio_X509(from.get(), nullptr, nullptr, nullptr));
  return out;
}

bool extend(X509* paper, int what, const std::string& value) {
  X509V3_CTX context;
  X509V3_set_ctx_nodb(&context);
  X509V3_set_ctx(&context, paper, paper, nullptr, nullptr, 0);
  const std::unique_ptr<X509_EXTENSION, Free> made(
      X509V3_EXT_conf_nid(nullptr, &context, what, value.c_str()));
  return made && X509_add_ext(paper, made.get(), -1) == 1;
}

// Signs for this address and nothing else: it is no authority, so that a phone which trusts it trusts no
// other site by it.
Pair made_for(const std::string& address) {
  Pair out{Key(EVP_PKEY_Q_keygen(nullptr, nullptr, "EC", "P-256")), Paper(X509_new())};
  X509* paper = out.paper.get();
  std::array<unsigned char, 8> serial;
  if (!out.key || !paper || RAND_bytes(serial.data(), serial.size()) != 1) return {};
  std::uint64_t number = 0;
  std::memcpy(&number, serial.data(), sizeof number);
  const auto name = reinterpret_cast<const unsigned char*>("gearhark workbench");
  const bool well =
      X509_set_version(paper, 2) == 1 &&
      ASN1_INTEGER_set_uint64(X509_get_serialNumber(paper), number >> 1) == 1 &&
      X509_gmtime_adj(X509_getm_notBefore(paper), -day_s) &&
      X509_gmtime_adj(X509_getm_notAfter(paper), valid_s - day_s) &&
      X509_NAME_add_entry_by_txt(X509_get_subject_name(paper), "CN", MBSTRING_ASC, name, -1, -1, 0) == 1 &&
      X509_set_issuer_name(paper, X509_get_subject_name(paper)) == 1 &&
      X509_set_pubkey(paper, out.key.get()) == 1 &&
      extend(paper, NID_basic_constraints, "critical,CA:FALSE") &&
      extend(paper, NID_key_usage, "critical,digitalSignature") &&
      extend(paper, NID_ext_key_usage, "serverAuth") &&
      extend(paper, NID_subject_alt_name, "IP:" + address) &&
      X509_sign(paper, out.key.get(), EVP_sha256()) > 0;
  return well ? std::move(out) : Pair{};
}

std::string text_of(const Pair& pair) {
  const Bio to(BIO_new(BIO_s_mem()));
  if (PEM_write_bio_PrivateKey(to.get(), pair.key.get(), nullptr, nullptr, 0, nullptr, nullptr) != 1 ||
      PEM_write_bio_X509(to.get(), pair.paper.get()) != 1)
    return "";
  char* bytes = nullptr;
  const long count = BIO_get_mem_data(to.get(), &bytes);
  return {bytes, static_cast<std::size_t>(count)};
}

// Never open to others, not even while it is written.
bool write_private(const fs::path& file, const std::string& text) {
  std::error_code failed;
  fs::create_directories(file.parent_path(), failed);
  const std::string part = fmt::format("{}.{}.part", file.string(), ::getpid());
  const int open = ::open(part.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
  if (open < 0) return false;
  const bool written =
      ::write(open, text.data(), text.size()) == static_cast<ssize_t>(text.size()) && ::fsync(open) == 0;
  const bool well = ::close(open) == 0 && written && ::rename(part.c_str(), file.c_str()) == 0;
  if (!well) ::unlink(part.c_str());
  return well;
}

std::string fingerprint_of(X509* paper) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest;
  unsigned int length = 0;
  if (X509_digest(paper, EVP_sha256(), digest.data(), &length) != 1) return "";
  std::string out;
  for (unsigned int i = 0; i < length; ++i) out += fmt::format("{}{:02X}", i ? ":" : "", digest[i]);
  return out;
}

std::shared_ptr<SSL_CTX> context_with(const Pair& pair) {
  std::shared_ptr<SSL_CTX> out(SSL_CTX_new(TLS_server_method()), SSL_CTX_free);
  if (!out || SSL_CTX_set_min_proto_version(out.get(), TLS1_2_VERSION) != 1 ||
      SSL_CTX_use_certificate(out.get(), pair.paper.get()) != 1 ||
      SSL_CTX_use_PrivateKey(out.get(), pair.key.get()) != 1)
    return nullptr;
  SSL_CTX_set_options(out.get(), SSL_OP_NO_RENEGOTIATION | SSL_OP_NO_COMPRESSION);
  SSL_CTX_set_mode(out.get(), SSL_MODE_ENABLE_PARTIAL_WRITE | SSL_MODE_ACCEPT_MOVING_WRITE_BUFFER);
  return out;
}

}  // namespace

Result<Certificate> certificate_for(const std::string& address, const fs::path& folder) {
  const fs::path file = folder / fmt::format("https_{}.pem", address);
  Pair pair = read(private_text(file));
  if (!usable(pair, address)) {
    pair = made_for(address);
    if (!usable(pair, address)) return Error{fmt::format("no certificate can be made for {}", address)};
    if (!write_private(file, text_of(pair)))
      return Error{
          fmt::format("{} can't be written ({}); the certificate for https is kept there: make room, or set "
                      "XDG_DATA_HOME to a folder of yours",
                      file.string(), std::strerror(errno))};
  }
  Certificate out{context_with(pair), fingerprint_of(pair.paper.get())};
  if (!out.context)
    return Error{fmt::format("{} can't be used for https; remove it and start again", file.string())};
  return out;
}

}  // namespace gearhark::workbench
