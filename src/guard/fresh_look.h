// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace windwright::guard {

/// Whether the cause of a trip is gone, before it is reset: reads the bench anew, as long as the
/// longest hold time of its interlocks asks for and 10 s at most, and judges. Commands nothing.
/// @param certificates  (channels)
/// @param folder        whose disk is looked at; may be empty
/// @param see           sees every block as well; may be empty
/// @return  the interlocks whose condition holds at the end, by name, in the bench's order
/// @throws DeviceFault  the device's
std::vector<std::string> standing_now(
    const bench::Bench& bench, const std::vector<metrology::Certificate>& certificates,
    bench::Device& device, const std::filesystem::path& folder = {},
    const std::function<void(const bench::SampleBlock&)>& see = {});

}  // namespace windwright::guard
