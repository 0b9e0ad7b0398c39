// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace windwright::base {

/// The whole text of a file that a person wrote.
/// @throws BadInput  cannot be opened, is a folder, is empty, holds a NUL byte, a line over 64 KiB,
///                   or more than 256 MiB: found while reading, so a huge file costs nothing
std::string text_of_file(const std::filesystem::path& file);

/// Replaces or makes a file as a whole: temporary file beside it, fsync, rename.
/// @throws std::filesystem::filesystem_error  and leaves the old file as it was
void write_whole(const std::filesystem::path& file, std::string_view text);

/// The file that another file names: relative to the folder of the one that names it, and never
/// outside `root`, so that a bench folder can be handed on as a whole.
/// @param where  `file:line` of the naming key, for the message
/// @throws BadInput  absolute, leads outside the root, or is not a file
std::filesystem::path named_file(const std::filesystem::path& root,
                                 const std::filesystem::path& folder, std::string_view name,
                                 std::string_view where);

}  // namespace windwright::base
