// SPDX-License-Identifier: Apache-2.0
#include "server/secrets.h"

#include <sodium.h>

#include <array>
#include <cstddef>
#include <stdexcept>
#include <string>
#include <string_view>

namespace windwright::server {
namespace {

constexpr std::size_t kept_bytes = crypto_pwhash_argon2id_STRBYTES;
constexpr unsigned long long passes = crypto_pwhash_argon2id_OPSLIMIT_INTERACTIVE;
constexpr std::size_t memory_bytes = crypto_pwhash_argon2id_MEMLIMIT_INTERACTIVE;

void require_ready() {
  static const bool ready = sodium_init() >= 0;
  if (!ready) throw std::runtime_error("libsodium does not start");
}

}  // namespace

std::string random_token() {
  require_ready();
  std::array<unsigned char, 32> bytes{};
  randombytes_buf(bytes.data(), bytes.size());
  std::string token;
  for (const unsigned char byte : bytes) {
    token += "0123456789abcdef"[byte >> 4U];
    token += "0123456789abcdef"[byte & 15U];
  }
  return token;
}

std::string kept_of_password(std::string_view password) {
  require_ready();
  std::array<char, kept_bytes> kept{};
  if (crypto_pwhash_argon2id_str(kept.data(), password.data(), password.size(), passes,
                                 memory_bytes) != 0) {
    throw std::runtime_error("there is not enough memory for a password");
  }
  return kept.data();
}

bool is_password(std::string_view password, const std::string& kept) {
  require_ready();
  if (kept.size() >= kept_bytes) return false;
  std::array<char, kept_bytes> whole{};  // the function reads all of it
  kept.copy(whole.data(), kept.size());
  return crypto_pwhash_argon2id_str_verify(whole.data(), password.data(), password.size()) == 0;
}

}  // namespace windwright::server
