// SPDX-License-Identifier: Apache-2.0
#include "report/notation.h"

#include "base/text.h"
#include "base/units.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::report {

namespace {

constexpr std::string_view dash = "–";
constexpr int digits_of_uncertainty = 2;
constexpr int digits_without_uncertainty = 4;

/// Decimal exponent of a number after it was rounded to so many significant digits.
int rounded_exponent(double value, int significant) {
  const std::string text = fmt::format("{:.{}e}", std::abs(value), significant - 1);
  const std::string_view tail = std::string_view(text).substr(text.find('e') + 1);
  int exponent = 0;
  std::from_chars(tail.data() + (tail.front() == '+' ? 1 : 0), tail.data() + tail.size(), exponent);
  return exponent;
}

std::string superscript(int value) {
  constexpr std::string_view digits[] = {"⁰", "¹", "²", "³", "⁴", "⁵", "⁶", "⁷", "⁸", "⁹"};
  std::string text = value < 0 ? "⁻" : "";
  for (const char digit : fmt::format("{}", std::abs(value))) {
    text += digits[static_cast<std::size_t>(digit - '0')];
  }
  return text;
}

/// Decimals may be negative: then tens, hundreds, ... are rounded.
std::string to_decimals(double value, int decimals) {
  if (decimals < 0) {
    const double step = std::pow(10.0, -decimals);
    return fixed(std::round(value / step) * step, 0);
  }
  return fixed(value, decimals);
}

bool needs_power_of_ten(int exponent) {
  return exponent < -4 || exponent > 6;
}

std::string with_power_of_ten(std::string_view text, int exponent) {
  return fmt::format("{} × 10{}", text, superscript(exponent));
}

std::string_view typeset_symbol(std::string_view symbol) {
  if (symbol == "degC") return "°C";
  if (symbol == "degree" || symbol == "degrees" || symbol == "deg") return "°";
  if (symbol == "ohm") return "Ω";
  if (symbol == "percent") return "%";
  if (symbol == "rpm") return "min⁻¹";
  return symbol;
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string safe;
  safe.reserve(text.size());
  for (const char letter : text) {
    switch (letter) {
      case '&':
        safe += "&amp;";
        break;
      case '<':
        safe += "&lt;";
        break;
      case '>':
        safe += "&gt;";
        break;
      case '"':
        safe += "&quot;";
        break;
      case '\'':
        safe += "&#39;";
        break;
      default:
        // Control characters have no place in XML, not even escaped.
        if (static_cast<unsigned char>(letter) >= 0x20 || letter == '\n' || letter == '\t') {
          safe += letter;
        }
    }
  }
  return safe;
}

std::string fixed(double value, int decimals) {
  if (!std::isfinite(value)) return std::string(dash);
  const std::string text = fmt::format("{:.{}f}", std::abs(value), decimals);
  const bool zero = text.find_first_not_of("0.") == std::string::npos;
  return (value < 0.0 && !zero ? "−" : "") + text;
}

std::string capitalised(std::string_view text) {
  std::string result(text);
  if (!result.empty() && result[0] >= 'a' && result[0] <= 'z') {
    result[0] = static_cast<char>(result[0] - 'a' + 'A');
  }
  return result;
}

std::string prose(std::string_view text) {
  std::string html = escaped(level_name(text));
  constexpr std::pair<std::string_view, std::string_view> ties[] = {
      {" ± ", "&nbsp;±&nbsp;"}, {" %", "&nbsp;%"}, {" °C", "&nbsp;°C"}};
  for (const auto& [loose, tied] : ties) {
    for (auto at = html.find(loose); at != std::string::npos; at = html.find(loose, at)) {
      html.replace(at, loose.size(), tied);
    }
  }
  return html;
}

std::string plain(double value) {
  if (!std::isfinite(value)) return std::string(dash);
  const std::string text = fmt::format("{:.6g}", std::abs(value));
  return (value < 0.0 ? "−" : "") + text;
}

std::string number(double value, int significant) {
  if (!std::isfinite(value)) return std::string(dash);
  if (value == 0.0) return "0";
  const int exponent = rounded_exponent(value, significant);
  if (needs_power_of_ten(exponent)) {
    return with_power_of_ten(fixed(value / std::pow(10.0, exponent), significant - 1), exponent);
  }
  return to_decimals(value, significant - 1 - exponent);
}

std::string with_uncertainty(double value, double expanded) {
  if (!std::isfinite(value)) return std::string(dash);
  if (std::isnan(expanded) || expanded <= 0.0) {
    return number(value, digits_without_uncertainty) + " (U not stated)";
  }
  if (std::isinf(expanded)) {
    return number(value, digits_without_uncertainty) + " (U without bound)";
  }
  const int place = rounded_exponent(expanded, digits_of_uncertainty) - digits_of_uncertainty + 1;
  const int exponent = rounded_exponent(std::max(std::abs(value), expanded), 1);
  if (needs_power_of_ten(exponent)) {
    const double scale = std::pow(10.0, exponent);
    return with_power_of_ten(fmt::format("({} ± {})", to_decimals(value / scale, exponent - place),
                                         to_decimals(expanded / scale, exponent - place)),
                             exponent);
  }
  return fmt::format("{} ± {}", to_decimals(value, -place), to_decimals(expanded, -place));
}

std::string with_uncertainty(const metrology::Estimate& estimate, double level) {
  return with_uncertainty(estimate.value(),
                          has_uncertainty(estimate) ? estimate.expanded(level) : 0.0);
}

std::string with_uncertainty(const std::optional<metrology::Estimate>& estimate) {
  return estimate ? with_uncertainty(*estimate) : "none";
}

std::string value_alone(const metrology::Estimate& estimate) {
  const std::string text = with_uncertainty(estimate);
  if (text.front() == '(') return number(estimate.value(), digits_without_uncertainty);
  return text.substr(0, text.find(' '));
}

std::string uncertainty_alone(double u) {
  return number(u, digits_of_uncertainty);
}

bool has_uncertainty(const metrology::Estimate& estimate) {
  const double u = estimate.u();
  return std::isfinite(u) && u > 0.0;
}

std::string unit_text(std::string_view unit) {
  std::string above;
  std::string below;
  int factors_below = 0;
  for (const std::string& factor : base::split(unit, ' ')) {
    if (factor.empty() || factor == "1") continue;
    const auto split = factor.find_first_of("-0123456789");
    const std::string_view symbol = typeset_symbol(std::string_view(factor).substr(0, split));
    const int exponent =
        split == std::string::npos
            ? 1
            : static_cast<int>(base::number_from_text(factor.substr(split)).value_or(1.0));
    std::string& side = exponent < 0 ? below : above;
    if (exponent < 0) ++factors_below;
    if (!side.empty()) side += ' ';
    side += symbol;
    if (std::abs(exponent) != 1) side += superscript(std::abs(exponent));
  }
  if (below.empty()) return above;
  if (factors_below > 1) below = '(' + below + ')';
  return (above.empty() ? "1" : above) + '/' + below;
}

std::string unit_text_of_name(std::string_view name) {
  return unit_text(base::unit_of_name(name));
}

std::string quantity_words(std::string_view name) {
  std::string words = base::without_unit(name);
  std::replace(words.begin(), words.end(), '_', ' ');
  for (const std::string_view abbreviation : {"ac ", "dc "}) {
    if (!words.starts_with(abbreviation)) continue;
    words[0] = words[0] == 'a' ? 'A' : 'D';
    words[1] = 'C';
  }
  return words;
}

std::string level_name(std::string_view name) {
  constexpr std::string_view word = " deg";
  const auto is_letter = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); };
  std::string text;
  for (std::size_t i = 0; i < name.size();) {
    const std::string_view rest = name.substr(i);
    const char after = rest.size() > word.size() ? rest[word.size()] : ' ';
    if (rest.starts_with(word) && after == 'C') {
      text += " °C";
      i += word.size() + 1;
    } else if (rest.starts_with(word) && !is_letter(after)) {
      text += "°";
      i += word.size();
    } else {
      text += name[i++];
    }
  }
  return text;
}

}  // namespace windwright::report
