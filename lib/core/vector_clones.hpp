// What lets one function be compiled for several instruction sets, the best of which is chosen when the
// program starts.
#pragma once

/// In front of a function: its loops are compiled for wide registers too. The arithmetic is that of the plain
/// function, operation by operation (contraction is off in all of Firstedge), so that the bits are the same.
#if defined(__x86_64__) && defined(__gnu_linux__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define FIRSTEDGE_VECTOR_CLONES __attribute__((target_clones("arch=x86-64-v4", "arch=x86-64-v3", "default")))
#else
#define FIRSTEDGE_VECTOR_CLONES
#endif
