// SPDX-License-Identifier: Apache-2.0
// Inside the catalogue module only: the tables, and how older ones become newer.
#pragma once

#include <string>
#include <vector>

namespace windwright::catalogue {

enum class Dialect { sqlite, postgresql };

/// The last migration there is.
constexpr int newest_schema = 2;

/// The statements that lead from schema `number - 1` to `number`. A migration that was released
/// never changes: what is to be different is another one.
/// @param number  1 to newest_schema
std::vector<std::string> migration(int number, Dialect dialect);

}  // namespace windwright::catalogue
