// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>

namespace windwright::server {

/// 256 bits of the kernel's randomness, as 64 hexadecimal digits.
std::string random_token();

/// A password as what is kept of it: Argon2id with a salt of its own, in the textual form that says
/// its own limits (2 passes over 64 MiB: about 0.1 s, libsodium's `interactive`).
/// Source: RFC 9106, Argon2 Memory-Hard Function.
std::string kept_of_password(std::string_view password);
/// Takes as long as making it. False also for what is no such text.
bool is_password(std::string_view password, const std::string& kept);

}  // namespace windwright::server
