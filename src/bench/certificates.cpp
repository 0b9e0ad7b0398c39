// SPDX-License-Identifier: Apache-2.0
#include "bench/certificates.h"

#include "bench/bench.h"
#include "metrology/certificate.h"

#include <filesystem>
#include <optional>
#include <vector>

namespace windwright::bench {

std::vector<std::optional<metrology::Certificate>> certificates_there_are(const Bench& bench) {
  std::vector<std::optional<metrology::Certificate>> certificates;
  for (const Channel& channel : bench.channels) {
    certificates.emplace_back();
    if (std::filesystem::exists(channel.certificate))
      certificates.back() = metrology::certificate_from_file(channel.certificate);
  }
  return certificates;
}

}  // namespace windwright::bench
