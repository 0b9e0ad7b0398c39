// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "campaign/campaign.h"

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <string>

namespace windwright::server {

/// docs/openapi.json, Campaign: what a text says, or what is wrong with it.
boost::json::object campaign_document(const bench::Bench& bench, const std::string& name,
                                      const std::string& text);

/// The text that a body of schema CampaignBody stands for.
/// @throws Refusal  422
std::string campaign_body_text(const bench::Bench& bench, const boost::json::object& body);

/// Every campaign in the bench's folder. docs/openapi.json, campaigns.
boost::json::array campaign_list(const bench::Bench& bench);

}  // namespace windwright::server
