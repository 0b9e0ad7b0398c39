// SPDX-License-Identifier: Apache-2.0
#include "server/console_files.h"

#include "base/errors.h"
#include "base/sha256.h"
#include "server/target.h"

#include <brotli/encode.h>
#include <fmt/format.h>
#include <zlib.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <string>
#include <string_view>
#include <utility>

extern "C" const char console_built_in[];
extern "C" const std::uint64_t console_built_in_size;

namespace windwright::server {

namespace fs = std::filesystem;

namespace {

constexpr std::uintmax_t most_bytes = 64U << 20U;

std::string type_of(std::string_view path) {
  constexpr std::pair<std::string_view, std::string_view> types[] = {
      {".html", "text/html; charset=utf-8"},
      {".js", "text/javascript; charset=utf-8"},
      {".css", "text/css; charset=utf-8"},
      {".json", "application/json"},
      {".svg", "image/svg+xml"},
      {".png", "image/png"},
      {".ico", "image/x-icon"},
      {".woff2", "font/woff2"},
      {".webmanifest", "application/manifest+json"},
      {".txt", "text/plain; charset=utf-8"}};
  for (const auto& [ending, type] : types) {
    if (path.ends_with(ending)) return std::string(type);
  }
  return "application/octet-stream";
}

std::string gzipped(const std::string& bytes) {
  z_stream stream{};
  constexpr int gzip_window = 15 + 16;
  if (deflateInit2(&stream, Z_BEST_COMPRESSION, Z_DEFLATED, gzip_window, 9, Z_DEFAULT_STRATEGY) !=
      Z_OK) {
    throw std::runtime_error("zlib does not start");
  }
  std::string packed(deflateBound(&stream, static_cast<uLong>(bytes.size())), '\0');
  // zlib reads it only, whatever its type says.
  stream.next_in = const_cast<Bytef*>(reinterpret_cast<const Bytef*>(bytes.data()));
  stream.avail_in = static_cast<uInt>(bytes.size());
  stream.next_out = reinterpret_cast<Bytef*>(packed.data());
  stream.avail_out = static_cast<uInt>(packed.size());
  const int result = deflate(&stream, Z_FINISH);
  packed.resize(stream.total_out);
  deflateEnd(&stream);
  if (result != Z_STREAM_END) throw std::runtime_error("zlib does not compress");
  return packed;
}

std::string brotli_of(const std::string& bytes) {
  std::size_t size = BrotliEncoderMaxCompressedSize(bytes.size());
  std::string packed(size, '\0');
  if (BrotliEncoderCompress(BROTLI_MAX_QUALITY, BROTLI_DEFAULT_WINDOW, BROTLI_MODE_GENERIC,
                            bytes.size(), reinterpret_cast<const std::uint8_t*>(bytes.data()),
                            &size,
                            reinterpret_cast<std::uint8_t*>(packed.data())) == BROTLI_FALSE) {
    return {};
  }
  packed.resize(size);
  return packed;
}

std::shared_ptr<const std::string> if_smaller(std::string packed, std::size_t than) {
  if (packed.empty() || packed.size() + packed.size() / 10 >= than) return nullptr;
  return std::make_shared<const std::string>(std::move(packed));
}

bool accepts(std::string_view header, std::string_view coding) {
  for (std::size_t at = header.find(coding); at != std::string_view::npos;
       at = header.find(coding, at + 1)) {
    const std::size_t end = at + coding.size();
    const bool begins = at == 0 || header[at - 1] == ' ' || header[at - 1] == ',';
    const std::string_view rest = header.substr(end, header.find(',', end) - end);
    if (begins && (rest.empty() || rest.front() == ' ' || rest.front() == ';') &&
        rest.find("q=0") == std::string_view::npos) {
      return true;
    }
    if (begins && rest.find("q=0.") != std::string_view::npos) return true;
  }
  return false;
}

}  // namespace

void ConsoleFiles::add(const std::string& path, std::string bytes) {
  File file{.type = type_of(path),
            .etag = fmt::format("\"{}\"", base::sha256(bytes).substr(0, 32)),
            .lasts = path.starts_with("assets/"),
            .plain = nullptr,
            .gzip = nullptr,
            .brotli = nullptr};
  const bool packs = file.type.starts_with("text/") ||
                     file.type.find("json") != std::string::npos ||
                     file.type.find("svg") != std::string::npos;
  if (packs) {
    file.gzip = if_smaller(gzipped(bytes), bytes.size());
    file.brotli = if_smaller(brotli_of(bytes), bytes.size());
  }
  file.plain = std::make_shared<const std::string>(std::move(bytes));
  files_[path] = std::move(file);
}

ConsoleFiles ConsoleFiles::built_in() {
  ConsoleFiles console;
  std::string_view rest(console_built_in, console_built_in_size);
  while (!rest.empty()) {
    const std::string_view line = rest.substr(0, rest.find('\n'));
    const std::size_t blank = line.rfind(' ');
    const auto size = static_cast<std::size_t>(std::stoull(std::string(line.substr(blank + 1))));
    rest.remove_prefix(line.size() + 1);
    console.add(std::string(line.substr(0, blank)), std::string(rest.substr(0, size)));
    rest.remove_prefix(size);
  }
  return console;
}

ConsoleFiles ConsoleFiles::of_folder(const fs::path& folder) {
  if (!fs::is_regular_file(folder / "index.html")) {
    throw base::BadInput("--console", fmt::format("{} has no index.html", folder.string()),
                         "the folder of a built console");
  }
  ConsoleFiles console;
  std::uintmax_t bytes = 0;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file()) continue;
    bytes += entry.file_size();
    if (bytes > most_bytes) {
      throw base::BadInput("--console", fmt::format("{} holds more than 64 MiB", folder.string()),
                           "the folder of a built console");
    }
    std::ifstream in(entry.path(), std::ios::binary);
    console.add(fs::relative(entry.path(), folder).generic_string(),
                {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()});
  }
  return console;
}

Answer ConsoleFiles::answer(const Request& request) const {
  if (request.method != "GET" && request.method != "HEAD") {
    throw station::Refusal(405, "this path does not know that method", "GET or HEAD");
  }
  const Target target = target_from_text(request.target);
  std::string path = fmt::format("{}", fmt::join(target.segments, "/"));
  auto found = files_.find(path);
  const bool is_room =
      target.segments.empty() || target.segments.back().find('.') == std::string::npos;
  if (found == files_.end() && is_room) found = files_.find("index.html");
  if (found == files_.end()) throw station::Refusal(404, "there is no such file", "/");
  const File& file = found->second;
  Answer answer{.status = 200, .content_type = file.type};
  answer.headers = {
      {"ETag", file.etag},
      {"Vary", "Accept-Encoding"},
      {"Cache-Control", file.lasts ? "public, max-age=31536000, immutable" : "no-cache"}};
  if (request.if_none_match.find(file.etag) != std::string::npos) {
    answer.status = 304;
    return answer;
  }
  answer.shared_body = file.plain;
  if (file.brotli && accepts(request.accept_encoding, "br")) {
    answer.shared_body = file.brotli;
    answer.headers.emplace_back("Content-Encoding", "br");
  } else if (file.gzip && accepts(request.accept_encoding, "gzip")) {
    answer.shared_body = file.gzip;
    answer.headers.emplace_back("Content-Encoding", "gzip");
  }
  return answer;
}

}  // namespace windwright::server
