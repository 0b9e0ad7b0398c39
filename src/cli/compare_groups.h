// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace windwright::cli {

/// Interlaboratory comparison of a CSV of groups.
struct GroupsRequest {
  std::string file;
  std::string reference;  // group, or empty
  bool json;
};

/// @return  exit code: 1 where an outlier or a score calls for action
int compare_groups(const GroupsRequest& request);

}  // namespace windwright::cli
