// SPDX-License-Identifier: Apache-2.0
// Counts what a test program allocates with `new`; the malloc of C libraries stands apart. Include
// it in one source file of a program: it replaces the program's operator new.
#pragma once

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <new>

namespace windwright {

inline std::atomic<std::int64_t> allocations{0};           // of all threads
inline thread_local std::int64_t allocations_here = 0;     // of this thread
inline thread_local std::size_t bytes_allocated_here = 0;  // by this thread

}  // namespace windwright

// Not inlined: g++ takes one without the other for a mismatch.
[[gnu::noinline]] void* operator new(std::size_t size) {
  ++windwright::allocations;
  ++windwright::allocations_here;
  windwright::bytes_allocated_here += size;
  if (void* memory = std::malloc(size)) return memory;
  throw std::bad_alloc();
}
[[gnu::noinline]] void operator delete(void* memory) noexcept {
  std::free(memory);
}
[[gnu::noinline]] void operator delete(void* memory, std::size_t) noexcept {
  std::free(memory);
}
