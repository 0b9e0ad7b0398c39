// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only: dimensions as the netCDF-4 library finds them in an HDF5 file.
#pragma once

#include "recording/layout.h"

#include <hdf5.h>

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::recording {

/// A named dimension without values of its own that grows with its datasets.
/// Source: HDF5 dimension scale specification; netCDF-4 names such a scale "This is a netCDF
/// dimension but not a netCDF variable." (NetCDF User's Guide, file format specifications).
Handle new_dimension(hid_t group, const std::string& name, const std::filesystem::path& path);
/// Makes a dataset the values of the dimension that has its name.
void become_dimension(hid_t dataset, const std::string& name, const std::filesystem::path& path);
/// The datasets' first extent is that dimension.
void attach(hid_t dimension, const std::vector<hid_t>& datasets, const std::filesystem::path& path);

}  // namespace windwright::recording
