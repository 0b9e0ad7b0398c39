// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

namespace windwright::station {

/// Refuses what somebody wants of a station: an answer with a status of docs/openapi.json and a
/// body of its schema Error.
class Refusal : public std::runtime_error {
 public:
  /// @param wrong  what is wrong
  /// @param right  what would be right; may be empty
  Refusal(int status, std::string_view wrong, std::string_view right)
      : std::runtime_error(std::string(wrong)), status_(status), right_(right) {}
  int status() const { return status_; }
  const std::string& right() const { return right_; }
  /// By this a page says it in its reader's language (`code` of the schema Error).
  Refusal as(std::string_view known_as) const {
    Refusal coded = *this;
    coded.code = known_as;
    return coded;
  }
  std::string code = {};    // empty: nobody but programs meets it
  std::string where = {};   // member of the body, parameter, `file:line`
  std::string holder = {};  // of a lease that somebody else has
  std::optional<int> retry_after_s = {};

 private:
  int status_;
  std::string right_;
};

}  // namespace windwright::station
