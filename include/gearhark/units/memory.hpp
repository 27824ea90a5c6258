// How this process gets its memory from the kernel.
#pragma once

namespace gearhark {

// Keeps memory that was freed for what is asked for next, instead of giving it back at once, and asks for
// large pages. Sounds and their spectra are arrays of ten megabytes that come and go: fetching their pages
// anew each time was a fifth of the time of resampling and transforming a minute of sound. For programs that
// do their work and end; where the C library has no such settings, nothing.
void keep_freed_memory();

// Gives it back nevertheless, after a phase that will not come again, and asks for no large pages from then
// on: what is free lies scattered, and each of them would come in whole for the little that is used of it.
void give_back_freed_memory();

}  // namespace gearhark
