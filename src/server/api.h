// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "server/exchange.h"
#include "server/serving.h"

#include <optional>
#include <string_view>

namespace windwright::server {

inline constexpr std::string_view cookie_name = "windwright_session";

/// Answers a request below /api/v1: checks who asks from where, what they may, and what they sent,
/// before any handler sees it. Never throws; what is refused has a body of schema Error. Any thread
/// may call.
Answer answer_api(Serving& serving, const Request& request);

/// What is checked of every request, of static files and WebSockets too: Host (against names that
/// another site has pointed here) and Origin (against pages of other sites).
/// @throws Refusal  421, 403
void require_own_site(const Serving& serving, const Request& request);

/// Whose session it is. @throws Refusal  401
Session require_session(Serving& serving, const Request& request);

/// A refusal as an answer.
Answer answer_of(const station::Refusal& refusal);

/// The text of docs/openapi.json.
std::string_view api_text();

}  // namespace windwright::server
