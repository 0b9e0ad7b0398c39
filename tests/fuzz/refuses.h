// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/errors.h"

#include <unistd.h>

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>

/// What two libraries lose of what they refuse: HDF5 1.10 an object header that it finds damaged
/// (h5dump does as well), UDUNITS the word that is no unit. What this program forgets to close or
/// free hangs on their tables or is allocated here, and is told.
extern "C" [[gnu::used]] inline const char* __lsan_default_suppressions() {
  return "leak:libhdf5\nleak:libudunits2";
}

namespace windwright {

/// What a parser may do with bytes from outside: take them, or refuse them with BadInput. Anything
/// else ends the run.
template <typename Parse>
int takes_or_refuses(const std::uint8_t* data, std::size_t size, const Parse& parse) {
  try {
    parse(std::string_view(reinterpret_cast<const char*>(data), size));
  } catch (const base::BadInput&) {
    // Refused.
  }
  return 0;
}

/// A folder of this process, in memory where there is one, filled once.
inline const std::filesystem::path& scratch_folder() {
  static const std::filesystem::path folder = [] {
    const std::filesystem::path memory = "/dev/shm";
    const auto made =
        (std::filesystem::exists(memory) ? memory : std::filesystem::temp_directory_path()) /
        ("windwright_fuzz_" + std::to_string(::getpid()));
    std::filesystem::remove_all(made);
    std::filesystem::create_directories(made);
    static const struct Remover {
      std::filesystem::path folder;
      ~Remover() { std::filesystem::remove_all(folder); }
    } remover{made};
    return made;
  }();
  return folder;
}

/// The bytes as a file of that name beside the demo's own files.
inline std::filesystem::path as_file(std::string_view bytes, const std::string& name) {
  static const bool copied = [] {
    std::filesystem::copy(std::filesystem::path(SOURCE_FOLDER) / "examples/saltmarsh-college",
                          scratch_folder(),
                          std::filesystem::copy_options::recursive |
                              std::filesystem::copy_options::overwrite_existing);
    return true;
  }();
  static_cast<void>(copied);
  const std::filesystem::path file = scratch_folder() / name;
  std::ofstream(file, std::ios::binary)
      .write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  return file;
}

}  // namespace windwright
