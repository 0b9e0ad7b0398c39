// SPDX-License-Identifier: Apache-2.0
#include "base/units.h"

#include "base/errors.h"

#include <fmt/format.h>
#include <udunits2.h>

#include <array>
#include <cmath>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::base {

namespace {

// Longest suffix first, so that `_rad_s` is not read as `_s`.
constexpr std::array<std::pair<std::string_view, std::string_view>, 54> suffixes{
    {{"_rad_s2", "rad s-2"},
     {"_J_kg_K", "J kg-1 K-1"},
     {"_N_m_s2", "N m s2"},
     {"_kg_m3", "kg m-3"},
     {"_m3_s3", "m3 s-3"},
     {"_kg_m2", "kg m2"},
     {"_rad_s", "rad s-1"},
     {"_N_m_s", "N m s"},
     {"_m_s2", "m s-2"},
     {"_Pa_s", "Pa s"},
     {"_N_m1", "N m-1"},
     {"_W_m2", "W m-2"},
     {"_m2_s", "m2 s-1"},
     {"_V_s1", "V s-1"},
     {"_V_s", "V s"},
     {"_K_s", "K s-1"},
     {"_m_s", "m s-1"},
     {"_N_m", "N m"},
     {"_J_K", "J K-1"},
     {"_W_K", "W K-1"},
     {"_J_s", "J s"},
     {"_K_h", "K h-1"},
     {"_A_s", "A s"},
     {"_A_h", "A h"},
     {"_A_V", "A V-1"},
     {"_V_K", "V K-1"},
     {"_kWh", "kW h"},
     {"_deg", "degree"},
     {"_rad", "rad"},
     {"_hPa", "hPa"},
     {"_pct", "percent"},
     {"_ppm", "1e-6"},
     {"_rpm", "rpm"},
     {"_ohm", "ohm"},
     {"_var", "W"},
     {"_kg", "kg"},
     {"_VA", "W"},
     {"_s1", "s-1"},
     {"_K1", "K-1"},
     {"_Hz", "Hz"},
     {"_Pa", "Pa"},
     {"_m2", "m2"},
     {"_C", "degC"},
     {"_K", "K"},
     {"_N", "N"},
     {"_W", "W"},
     {"_J", "J"},
     {"_V", "V"},
     {"_A", "A"},
     {"_H", "H"},
     {"_F", "F"},
     {"_S", "S"},
     {"_m", "m"},
     {"_s", "s"}}};

struct FreeUnit {
  void operator()(ut_unit* unit) const { ut_free(unit); }
};
struct FreeSystem {
  void operator()(ut_system* system) const { ut_free_system(system); }
};
using Unit = std::unique_ptr<ut_unit, FreeUnit>;

// Read once: it takes ten milliseconds. Under `one_at_a_time`: the library's scanner is one for the
// whole process, and ends it where two threads parse.
std::mutex one_at_a_time;
ut_system* all_units() {
  static const std::unique_ptr<ut_system, FreeSystem> system(ut_read_xml(nullptr));
  return system.get();
}

}  // namespace

std::string without_unit(std::string_view name) {
  for (const auto& [suffix, unit] : suffixes) {
    if (name.ends_with(suffix)) return std::string(name.substr(0, name.size() - suffix.size()));
  }
  return std::string(name);
}

std::string unit_of_name(std::string_view name) {
  for (const auto& [suffix, unit] : suffixes) {
    if (name.ends_with(suffix)) return std::string(unit);
  }
  return "1";
}

std::string spoken_unit(std::string_view unit) {
  return unit.empty() || unit == "1" ? std::string() : " " + std::string(unit);
}

std::string with_unit(std::string_view quantity, std::string_view unit) {
  const std::string spoken = spoken_unit(unit);
  return std::string(quantity) + (spoken.empty() ? "" : "," + spoken);
}

void require_unit(std::string_view unit, std::string_view wanted, std::string_view where) {
  if (unit == wanted) return;
  const std::scoped_lock lock(one_at_a_time);
  ut_set_error_message_handler(ut_ignore);
  const Unit have(ut_parse(all_units(), std::string(unit).c_str(), UT_UTF8));
  const Unit want(ut_parse(all_units(), std::string(wanted).c_str(), UT_UTF8));
  if (!have) {
    throw BadInput(where, fmt::format("'{}' is not a unit", unit), fmt::format("\"{}\"", wanted));
  }
  if (ut_are_convertible(have.get(), want.get()) == 0) {
    throw BadInput(where, fmt::format("'{}' measures another quantity", unit),
                   fmt::format("\"{}\"", wanted));
  }
  if (ut_compare(have.get(), want.get()) == 0) return;
  cv_converter* converter = ut_get_converter(have.get(), want.get());
  const double zero = cv_convert_double(converter, 0.0);
  const double factor = cv_convert_double(converter, 1.0) - zero;
  cv_free(converter);
  if (std::abs(factor - 1.0) < 1e-12 && std::abs(zero) < 1e-12) return;
  throw BadInput(where, fmt::format("'{}' is another scale", unit),
                 fmt::format("values in \"{}\": multiply by {}{}", wanted, factor,
                             zero == 0.0 ? "" : fmt::format(" and add {}", zero)));
}

}  // namespace windwright::base
