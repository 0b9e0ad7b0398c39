// SPDX-License-Identifier: Apache-2.0
#include "base/sha256.h"

#include "base/files.h"
#include "fresh_folder.h"

#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <string>

namespace windwright::base {
namespace {

// FIPS 180-2, Appendix B.1 to B.3 (kept as examples of FIPS 180-4), from memory.
TEST(Sha256, IsThatOfTheStandardsExamples) {
  EXPECT_EQ(sha256("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  EXPECT_EQ(sha256(std::string(1'000'000, 'a')),
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

// Every length around a block's, beside coreutils.
TEST(Sha256, IsThatOfSha256sum) {
  const auto folder = fresh_folder();
  for (const std::size_t length : {1UL, 55UL, 56UL, 63UL, 64UL, 65UL, 119UL, 120UL, 5000UL}) {
    std::string bytes;
    for (std::size_t i = 0; i < length; ++i)
      bytes += static_cast<char>('a' + i * 7 % 26);
    const auto file = folder / std::to_string(length);
    write_whole(file, bytes);
    FILE* pipe = popen(("sha256sum '" + file.string() + "'").c_str(), "r");
    ASSERT_NE(pipe, nullptr);
    std::array<char, 64> digits{};
    EXPECT_EQ(fread(digits.data(), 1, digits.size(), pipe), digits.size());
    pclose(pipe);
    EXPECT_EQ(sha256_of_file(file), std::string(digits.data(), digits.size())) << length;
  }
}

}  // namespace
}  // namespace windwright::base
