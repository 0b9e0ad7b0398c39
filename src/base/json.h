// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::base {

/// Readable JSON: two blanks an indent, members in the order they were put, numbers as
/// `number_text`; a number that is not finite becomes null. Ends with a newline.
std::string json_text(const boost::json::value& value);
/// The same on one line without newline.
std::string json_line(const boost::json::value& value);

/// The number; null where there is none, or it is not finite.
boost::json::value or_null(double number);
boost::json::value or_null(const std::optional<double>& number);

/// @throws BadInput  not readable as JSON, with the line
boost::json::value json_from_file(const std::filesystem::path& file);
boost::json::value json_from_text(std::string_view text, std::string_view file);

/// Members of an object that must be there.
/// @throws BadInput  missing or of another kind; `where` stands before the member's name
double json_number(const boost::json::value& object, std::string_view key, std::string_view where);
std::string json_string(const boost::json::value& object, std::string_view key,
                        std::string_view where);
const boost::json::value& json_member(const boost::json::value& object, std::string_view key,
                                      std::string_view where);

}  // namespace windwright::base
