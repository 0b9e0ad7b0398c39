// SPDX-License-Identifier: Apache-2.0
#include "exchange/output_file.h"

#include "base/errors.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <string_view>

namespace windwright::exchange {

void OutputFile::fail() const {
  throw base::DiskFault(path_.string(), fmt::format("cannot be written ({})", std::strerror(errno)),
                        "make room, or write to another place");
}

OutputFile::OutputFile(const std::filesystem::path& file)
    : path_(file), handle_(open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644)) {
  if (handle_ < 0) fail();
}

OutputFile::~OutputFile() {
  close(handle_);
}

void OutputFile::write_at(std::int64_t place, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = pwrite(handle_, bytes.data(), bytes.size(), place);
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) fail();
    bytes.remove_prefix(static_cast<std::size_t>(written));
    place += written;
  }
}

void OutputFile::finish() {
  if (fsync(handle_) != 0) fail();
}

}  // namespace windwright::exchange
