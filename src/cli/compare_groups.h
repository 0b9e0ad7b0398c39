// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/groups_file.h"

#include <boost/json/fwd.hpp>

#include <string>
#include <vector>

namespace windwright::cli {

/// Interlaboratory comparison of a CSV of groups.
struct GroupsRequest {
  std::string file;
  std::string reference;  // group, or empty
  bool json;
};

/// What stands beside a CSV of groups on the command line.
struct BesideGroups {
  const std::vector<std::string>& files;  // that CSV among them
  bool rotor;
  bool tunnel_area;
  bool same_sensors;
};
/// @throws BadInput  anything does
void require_groups_alone(const BesideGroups& beside);

boost::json::value groups_json(const std::vector<metrology::StudiedLevel>& levels);

/// @return  exit code: 1 where an outlier or a score calls for action
int compare_groups(const GroupsRequest& request);

}  // namespace windwright::cli
