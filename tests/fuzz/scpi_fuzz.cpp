// SPDX-License-Identifier: Apache-2.0
// What a controller sends to a served bench.
#include "devices/scpi_server.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    devices::ScpiSession session({"a", "b", "c", "d"}, [] {});
    session.add("MEASure:VOLTage[:DC]?", [](const devices::ScpiCommand& command) {
      for (const std::string& each : command.parameters)
        static_cast<void>(devices::channel_list(each, 16));
      return std::optional<std::string>("1.5");
    });
    session.add("SOURce#:LEVel", [](const devices::ScpiCommand& command) {
      static_cast<void>(devices::scpi_number(devices::only_parameter(command)));
      return std::optional<std::string>();
    });
    session.add("SYSTem:STOP", [](const devices::ScpiCommand& command) {
      devices::require_no_parameter(command);
      return std::optional<std::string>();
    });
    std::string answer;
    while (!bytes.empty()) {
      const auto used = session.converse(bytes, answer);
      if (!used || *used == 0) return;
      if (*used > bytes.size()) throw std::logic_error("more used than there was");
      bytes.remove_prefix(*used);
    }
  });
}
