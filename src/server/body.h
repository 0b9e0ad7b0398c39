// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <boost/json/fwd.hpp>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

/// A body as a JSON object; an empty body is an empty one.
/// @throws Refusal  400: not JSON, deeper than 16; 422: not an object
boost::json::object body_object(std::string_view text);

/// Members of it. @throws Refusal  422, with the member as its place
std::string text_member(const boost::json::object& body, std::string_view name);
std::string text_member_or(const boost::json::object& body, std::string_view name,
                           std::string_view otherwise);
double number_member(const boost::json::object& body, std::string_view name);
bool flag_member(const boost::json::object& body, std::string_view name);
/// Empty where it is left out.
std::vector<std::string> texts_member(const boost::json::object& body, std::string_view name);

}  // namespace windwright::server
