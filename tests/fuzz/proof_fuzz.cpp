// SPDX-License-Identifier: Apache-2.0
// A proof of the interlocks.
#include "base/json.h"
#include "campaign/proof.h"
#include "refuses.h"

#include <boost/json.hpp>

#include <cstddef>
#include <cstdint>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    const campaign::Proof proof = campaign::proof_from_text(bytes, "interlocks.json");
    static_cast<void>(base::json_text(campaign::to_json(proof)));
  });
}
