// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/estimate.h"

#include <optional>
#include <string>
#include <string_view>

namespace windwright::report {

/// Text made safe for HTML and SVG, in elements and in quoted attributes.
std::string escaped(std::string_view text);

/// A number to so many significant digits, with a true minus sign; far from 1 in powers of ten.
/// Not a number gives a dash, as everywhere here.
/// @param significant  1 to 15
std::string number(double value, int significant = 4);

/// With a capital first letter, for the head of a line.
std::string capitalised(std::string_view text);

/// Prose for HTML: escaped, with the degree sign, a value and its uncertainty never parted at the
/// end of a line.
std::string prose(std::string_view text);

/// A number that was set, not measured: up to six significant digits, no closing zeros.
std::string plain(double value);

/// A number with a fixed count of decimals (0 to 15) and a true minus sign; never `-0`.
std::string fixed(double value, int decimals);

/// Value and expanded uncertainty, both to the decimal place of the uncertainty's second
/// significant digit, rounded to nearest: `0.3120 ± 0.0043`, `(1.789 ± 0.012) × 10⁻⁵`.
/// An uncertainty of zero, or none, gives the value to four significant digits and `(U not
/// stated)`: never `± 0`.
/// Source: JCGM 100:2008 (GUM) 7.2.6. Checked in tests/report/notation_test.cpp.
std::string with_uncertainty(double value, double expanded);
std::string with_uncertainty(const metrology::Estimate& estimate, double level = 0.95);
/// `none` for what was not measured.
std::string with_uncertainty(const std::optional<metrology::Estimate>& estimate);

/// The value alone, rounded as in with_uncertainty.
std::string value_alone(const metrology::Estimate& estimate);
/// An uncertainty alone, to two significant digits.
std::string uncertainty_alone(double u);

/// An uncertainty can be drawn or written: stated, finite and above zero.
bool has_uncertainty(const metrology::Estimate& estimate);

/// UDUNITS string as print sets it: `kg m-3` gives kg/m³, `degC` °C, `1` nothing.
std::string unit_text(std::string_view unit);
/// The unit that a name's suffix states, typeset.
std::string unit_text_of_name(std::string_view name);

/// A name in words, without its unit: `ac_power_W` gives AC power.
std::string quantity_words(std::string_view name);

/// A name of levels from the reduction, `3 blades, 5 deg`, with the degree sign.
std::string level_name(std::string_view name);

}  // namespace windwright::report
