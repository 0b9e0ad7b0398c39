// SPDX-License-Identifier: Apache-2.0
#include "bench/bench.h"
#include "recording/layout.h"
#include "recording/recording.h"

#include <hdf5.h>

#include <filesystem>
#include <string>

namespace windwright::recording {
namespace {

constexpr const char* group_name = "derived";

}  // namespace

void put_derivation(hid_t file, const Derivation& derivation, const std::filesystem::path& path) {
  if (derivation.list.empty()) return;
  const Handle all = new_group(file, group_name, path);
  put_number(all.get(), "tip_radius_m", derivation.tip_radius_m, path);
  for (const bench::DerivedChannel& derived : derivation.list) {
    const Handle one = new_group(all.get(), derived.name, path);
    put_text(one.get(), "units", derived.unit, path);
    put_text(one.get(), "long_name", derived.long_name, path);
    put_text(one.get(), "equation", derived.equation, path);
  }
}

Derivation derivation_in(hid_t file, const std::filesystem::path& path) {
  if (H5Lexists(file, group_name, H5P_DEFAULT) <= 0) return {};
  const Handle all = owned(H5Gopen2(file, group_name, H5P_DEFAULT), path, "open what is derived");
  Derivation derivation{.list = {}, .tip_radius_m = number_in(all.get(), "tip_radius_m", path)};
  for (const std::string& name : names_in(all.get(), path)) {
    const Handle one =
        owned(H5Gopen2(all.get(), name.c_str(), H5P_DEFAULT), path, "open what is derived");
    derivation.list.push_back({.name = name,
                               .long_name = text_in(one.get(), "long_name", path),
                               .unit = text_in(one.get(), "units", path),
                               .equation = text_in(one.get(), "equation", path)});
  }
  return derivation;
}

}  // namespace windwright::recording
