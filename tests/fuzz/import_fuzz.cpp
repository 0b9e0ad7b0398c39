// SPDX-License-Identifier: Apache-2.0
// Samples of another recorder on their way into a recording, and what the recording then shows.
#include "analysis/window_view.h"
#include "exchange/import_samples.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  const auto into = scratch_folder() / "fuzz_import.h5";
  std::filesystem::remove(into);
  return takes_or_refuses(data, size, [&](std::string_view bytes) {
    const exchange::Imported imported =
        exchange::import_samples({.file = as_file(bytes, "fuzz_import.csv"), .into = into});
    for (const exchange::ImportedChannel& channel : imported.channels) {
      static_cast<void>(
          analysis::view_of({.window = {.file = into, .channel = channel.name}, .bins = 3}));
    }
  });
}
