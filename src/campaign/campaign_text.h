// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "campaign/campaign.h"

#include <string>

namespace windwright::campaign {

/// The text of a campaign.toml that reads back as this campaign. Comments of the file that it came
/// from are not in it.
std::string campaign_text(const Campaign& campaign);

}  // namespace windwright::campaign
