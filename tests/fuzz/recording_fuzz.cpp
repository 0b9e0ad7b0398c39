// SPDX-License-Identifier: Apache-2.0
// Bytes of a recording, changed anywhere. HDF5's own parser meets them first: metadata carry
// checksums there, so that nearly all changes end in its refusal; recording_fields_fuzz.cpp goes
// behind it.
#include "refuses.h"
#include "seen_recording.h"

#include <cstddef>
#include <cstdint>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    see_recording(as_file(bytes, "fuzz_recording.h5"));
  });
}
