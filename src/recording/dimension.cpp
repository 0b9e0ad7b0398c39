// SPDX-License-Identifier: Apache-2.0
#include "recording/dimension.h"

#include "recording/layout.h"

#include <fmt/format.h>
#include <hdf5.h>
#include <hdf5_hl.h>

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::recording {

Handle new_dimension(hid_t group, const std::string& name, const std::filesystem::path& path) {
  constexpr hsize_t chunk = 1024;  // nothing is ever in it
  const hsize_t now = 0;
  const hsize_t most = H5S_UNLIMITED;
  const Handle space = owned(H5Screate_simple(1, &now, &most), path, "make a dimension");
  const Handle list = owned(H5Pcreate(H5P_DATASET_CREATE), path, "make a dimension");
  require(H5Pset_chunk(list.get(), 1, &chunk), path, "make a dimension");
  Handle made = owned(H5Dcreate2(group, name.c_str(), H5T_IEEE_F32BE, space.get(), H5P_DEFAULT,
                                 list.get(), H5P_DEFAULT),
                      path, "make a dimension");
  become_dimension(made.get(),
                   fmt::format("This is a netCDF dimension but not a netCDF variable.{:10}", 0),
                   path);
  return made;
}

void become_dimension(hid_t dataset, const std::string& name, const std::filesystem::path& path) {
  require(H5DSset_scale(dataset, name.c_str()), path, "make a dimension");
}

void attach(hid_t dimension, const std::vector<hid_t>& datasets,
            const std::filesystem::path& path) {
  for (const hid_t dataset : datasets)
    require(H5DSattach_scale(dataset, dimension, 0), path, "attach a dimension");
}

}  // namespace windwright::recording
