// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <map>
#include <set>
#include <string>
#include <vector>

namespace windwright::analysis {

/// What a reader of the results must know, gathered while they are made and said once each.
struct Remarks {
  std::set<std::string> unstated;                           // quantities without uncertainty
  std::map<std::string, std::set<int>> beyond_certificate;  // points by channel
  std::set<int> unsettled;                                  // points
  std::set<std::string> sentences;                          // anything else
};

/// Channels with both what their curve does not follow as one error for the whole range
/// (`CHANNEL:residual`, as older points files have it) and by stretches of it
/// (`CHANNEL:residual-N`), which are uncorrelated though they are one sensor's.
std::set<std::string> channels_of_two_residuals(const std::set<std::string>& inputs);

/// One sentence each, in a fixed order.
std::vector<std::string> sentences(const Remarks& remarks);

}  // namespace windwright::analysis
