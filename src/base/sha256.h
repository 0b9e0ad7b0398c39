// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace windwright::base {

/// The SHA-256 digest in 64 hexadecimal digits, as `sha256sum` prints it.
/// Source: FIPS 180-4, Secure Hash Standard. Checked in tests/base/sha256_test.cpp.
std::string sha256(std::string_view bytes);
/// The same of a file of any length.
/// @throws DiskFault  it cannot be read
std::string sha256_of_file(const std::filesystem::path& file);

}  // namespace windwright::base
