// Loaded before everything else (LD_PRELOAD), lets the system fail at a chosen place in a program that is
// none the wiser:
//   GEARHARK_FAULT="kill 3"    dies at its 3rd call that changes a file (write, fsync, rename, unlink,
//   truncate) GEARHARK_FAULT="full 3"    from the 3rd such call that needs room on, the disk is full
//   GEARHARK_FAULT="read 3"    from the 3rd read on, the disk can't be read
//   GEARHARK_FAULT="memory 3"  the 3rd piece of memory asked for is not there
//   GEARHARK_FAULT_COUNT=FILE  how many calls of that kind there were
// Counting starts with main. What the C library calls within itself is not seen.
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/auxv.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>

namespace {

enum class Kind { none, kill, full, read, memory };
Kind kind = Kind::none;
long at = 0;
std::atomic<long> calls{0};
bool counting = false;

void set_up() {
  const char* words = std::getenv("GEARHARK_FAULT");
  if (!words) return;
  const char* names[] = {"", "kill ", "full ", "read ", "memory "};
  for (int i = 1; i < 5; ++i)
    if (std::strncmp(words, names[i], std::strlen(names[i])) == 0) {
      kind = static_cast<Kind>(i);
      at = std::atol(words + std::strlen(names[i]));
    }
  counting = true;
}

void tell() {
  const char* file = std::getenv("GEARHARK_FAULT_COUNT");
  if (!file) return;
  counting = false;
  char text[32];
  const int length = std::snprintf(text, sizeof text, "%ld\n", calls.load());
  const int out = static_cast<int>(::syscall(SYS_open, file, O_WRONLY | O_CREAT | O_TRUNC, 0666));
  static_cast<void>(::syscall(SYS_write, out, text, length));
  ::syscall(SYS_close, out);
}

// A call that changes a file. True: it must fail.
bool change(bool needs_room) {
  if (!counting || (kind != Kind::kill && kind != Kind::full) || (kind == Kind::full && !needs_room))
    return false;
  const long n = ++calls;
  if (kind == Kind::kill && n == at) ::kill(::getpid(), SIGKILL);
  if (kind == Kind::full && at > 0 && n >= at) return errno = ENOSPC, true;
  return false;
}
bool unreadable() {
  if (!counting || kind != Kind::read) return false;
  const long n = ++calls;
  return at > 0 && n >= at ? (errno = EIO, true) : false;
}
// Not where the program itself calls malloc: those are Eigen's matrices, which (3.4) give back their old
// memory before they ask for new, and give it back again when there is none.
bool no_memory(void* caller) {
  if (!counting || kind != Kind::memory) return false;
  Dl_info where{};
  static const void* program = reinterpret_cast<const void*>(::getauxval(AT_PHDR));
  Dl_info own{};
  if (::dladdr(caller, &where) && ::dladdr(program, &own) && where.dli_fbase == own.dli_fbase) return false;
  return ++calls == at && (errno = ENOMEM, true);
}

template <class F>
F* real(F*, const char* name) {
  return reinterpret_cast<F*>(::dlsym(RTLD_NEXT, name));
}

using Main = int (*)(int, char**, char**);
Main real_main;
int counted_main(int count, char** words, char** environment) {
  set_up();
  std::atexit(tell);
  return real_main(count, words, environment);
}

}  // namespace

extern "C" {

void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void* __libc_memalign(std::size_t, std::size_t);

void* malloc(std::size_t size) {
  return no_memory(__builtin_return_address(0)) ? nullptr : __libc_malloc(size);
}
void* calloc(std::size_t n, std::size_t size) {
  return no_memory(__builtin_return_address(0)) ? nullptr : __libc_calloc(n, size);
}
void* realloc(void* old, std::size_t size) {
  return no_memory(__builtin_return_address(0)) ? nullptr : __libc_realloc(old, size);
}
void* aligned_alloc(std::size_t to, std::size_t size) {
  return no_memory(__builtin_return_address(0)) ? nullptr : __libc_memalign(to, size);
}
int posix_memalign(void** out, std::size_t to, std::size_t size) {
  if (no_memory(__builtin_return_address(0))) return ENOMEM;
  *out = __libc_memalign(to, size);
  return *out ? 0 : ENOMEM;
}

int __libc_start_main(Main main, int count, char** words, void (*init)(), void (*end)(), void (*unload)(),
                      void* stack) {
  static auto* next = real(&__libc_start_main, "__libc_start_main");
  real_main = main;
  return next(counted_main, count, words, init, end, unload, stack);
}

ssize_t read(int file, void* to, std::size_t size) {
  return unreadable() ? -1 : ::syscall(SYS_read, file, to, size);
}
ssize_t write(int file, const void* from, std::size_t size) {
  return change(true) ? -1 : ::syscall(SYS_write, file, from, size);
}
ssize_t pwrite(int file, const void* from, std::size_t size, off_t place) {
  return change(true) ? -1 : ::syscall(SYS_pwrite64, file, from, size, place);
}
ssize_t pwrite64(int file, const void* from, std::size_t size, off64_t place) {
  return pwrite(file, from, size, place);
}
int fsync(int file) { return change(true) ? -1 : static_cast<int>(::syscall(SYS_fsync, file)); }
int fdatasync(int file) { return change(true) ? -1 : static_cast<int>(::syscall(SYS_fdatasync, file)); }
int ftruncate(int file, off_t size) {
  return change(false) ? -1 : static_cast<int>(::syscall(SYS_ftruncate, file, size));
}
int ftruncate64(int file, off64_t size) { return ftruncate(file, size); }
int rename(const char* from, const char* to) noexcept {
  return change(false) ? -1 : static_cast<int>(::syscall(SYS_rename, from, to));
}
int unlink(const char* name) noexcept {
  return change(false) ? -1 : static_cast<int>(::syscall(SYS_unlink, name));
}

}  // extern "C"
