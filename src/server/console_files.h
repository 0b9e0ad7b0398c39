// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "server/exchange.h"

#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <string_view>

namespace windwright::server {

/// The console: every file in memory, compressed once when the server begins, with an ETag of its
/// content. Nothing is read from the disk later, so no path leads anywhere else.
class ConsoleFiles {
 public:
  /// What was built into the program; empty where it was built without.
  static ConsoleFiles built_in();
  /// @throws BadInput  no such folder, no index.html in it, more than 64 MiB
  static ConsoleFiles of_folder(const std::filesystem::path& folder);

  /// A GET or HEAD of any path that is not the API's. Paths without a file but with rooms of the
  /// console in them (no dot in the last segment) give index.html.
  /// @throws Refusal  404, 405
  Answer answer(const Request& request) const;
  bool empty() const { return files_.empty(); }

 private:
  struct File {
    std::string type;
    std::string etag;
    bool lasts;                                // its name changes with its content
    std::shared_ptr<const std::string> plain;  // shared: every connection sends from this memory
    std::shared_ptr<const std::string> gzip;   // null: no smaller
    std::shared_ptr<const std::string> brotli;
  };
  void add(const std::string& path, std::string bytes);

  std::map<std::string, File, std::less<>> files_;
};

}  // namespace windwright::server
