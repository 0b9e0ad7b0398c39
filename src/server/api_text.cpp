// SPDX-License-Identifier: Apache-2.0
#include "server/api.h"

#include <cstdint>
#include <string_view>

extern "C" const char api_description_text[];
extern "C" const std::uint64_t api_description_text_size;

namespace windwright::server {

std::string_view api_text() {
  return {api_description_text, api_description_text_size};
}

}  // namespace windwright::server
