// SPDX-License-Identifier: Apache-2.0
#include "guard/bench_lease.h"

#include "base/clock.h"
#include "base/errors.h"
#include "bench/bench.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstddef>
#include <cstring>
#include <filesystem>
#include <string>

namespace windwright::guard {
namespace {

struct flock whole_file() {
  struct flock region{};
  region.l_type = F_WRLCK;
  region.l_whence = SEEK_SET;
  return region;
}

std::string text_in(int handle) {
  std::array<char, 256> bytes{};
  const ssize_t count = pread(handle, bytes.data(), bytes.size(), 0);
  const std::string text(bytes.data(), count > 0 ? static_cast<std::size_t>(count) : 0);
  return text.substr(0, text.find('\n'));
}

[[noreturn]] void refuse(const bench::Bench& bench, const std::string& what,
                         const std::string& check) {
  throw base::DeviceFault(bench.name, what, check);
}

}  // namespace

BenchLease::BenchLease(const bench::Bench& bench, const std::string& who) {
  const std::filesystem::path file = bench.file.parent_path() / "operator.lock";
  handle_ = open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  if (handle_ < 0) {
    refuse(bench,
           fmt::format("cannot be commanded: {} cannot be written ({})", file.string(),
                       std::strerror(errno)),
           "who may write to the bench's folder");
  }
  struct flock region = whole_file();
  if (fcntl(handle_, F_OFD_SETLK, &region) != 0) {
    const std::string holder = text_in(handle_);
    close(handle_);
    refuse(bench, fmt::format("is commanded by {}", holder.empty() ? "another program" : holder),
           "one program at a time: end that one first");
  }
  // Whoever works at this bench after this user may hold it too, whatever the mask says.
  static_cast<void>(fchmod(handle_, 0666));
  const std::string text = fmt::format("{} since {}\n", who, base::utc_text(base::host_now()));
  if (ftruncate(handle_, 0) != 0 ||
      pwrite(handle_, text.data(), text.size(), 0) != static_cast<ssize_t>(text.size())) {
    // On a full disk the lock holds as well, only without a name.
    static_cast<void>(ftruncate(handle_, 0));
  }
}

BenchLease::~BenchLease() {
  static_cast<void>(ftruncate(handle_, 0));
  close(handle_);
}

}  // namespace windwright::guard
