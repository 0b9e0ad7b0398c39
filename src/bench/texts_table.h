// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <map>
#include <string>
#include <string_view>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

struct Bench;

/// What a bench's own texts are in other languages, by language (es) and then by the text.
using Texts = std::map<std::string, std::map<std::string, std::string, std::less<>>, std::less<>>;

/// What [texts.es] and the like say, if they are there: docs/bench.md.
/// What the bench does not have changes nothing.
/// @throws BadInput  with file and line
Texts texts_from_tables(const base::Settings& root);

/// The same of a bench that was read. It is no member of it: only who shows a bench needs them.
Texts texts_of(const Bench& bench);

}  // namespace windwright::bench
