// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/errors.h"

#include <string>

namespace windwright::bench {

/// What a model refuses knows no file: the same complaint with the place of the table it was read
/// from.
base::BadInput placed(const base::BadInput& refused, const std::string& place);

}  // namespace windwright::bench
