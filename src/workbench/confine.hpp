// Takes from the calling process what decoding a sound does not need.
#pragma once

namespace gearhark::workbench {

// From here on this process, and what it becomes, reads nothing but the system's libraries, this program and
// `folder`, and writes nothing but into `folder` (Landlock, Linux 5.13 and later). Returns whether the kernel
// could do it; without it all goes on as before. Safe between fork and exec.
bool confine(const char* folder);

}  // namespace gearhark::workbench
