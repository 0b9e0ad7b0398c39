// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>
#include <vector>

namespace windwright::cli {

// Options come in as texts, so that what is wrong with one is said in our own words. `option` is
// its name with dashes, as the messages show it.

struct Limits {
  double lowest;
  double highest;
};

/// @throws BadInput  not a number, or outside the limits
double number_within(std::string_view option, std::string_view text, Limits limits);

/// `A:STEP:B` from A to B, both ends included where the step meets B; or one number.
/// @throws BadInput  anything else, a number outside the limits, more than 100 000 steps
std::vector<double> sweep_within(std::string_view option, std::string_view text, Limits limits);

/// The same for whole numbers.
std::vector<int> whole_sweep_within(std::string_view option, std::string_view text, Limits limits);

/// @param given      whether `option` was
/// @param goes_with  what it says something to
/// @throws BadInput  it was given
void refuse_without(bool given, const char* option, const char* goes_with);

/// `on` or `off`.
/// @throws BadInput  anything else
bool on_or_off(std::string_view option, std::string_view text);

}  // namespace windwright::cli
