// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/errors.h"

#include <gtest/gtest.h>

#include <functional>
#include <string>

namespace windwright {

/// Fails unless `act` is refused as bad input, with these words in the message.
inline void expect_refused(const std::function<void()>& act, const std::string& words) {
  try {
    act();
    ADD_FAILURE() << "not refused: " << words;
  } catch (const base::BadInput& bad) {
    EXPECT_NE(std::string(bad.what()).find(words), std::string::npos) << bad.what();
  }
}

}  // namespace windwright
