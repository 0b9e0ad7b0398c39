// SPDX-License-Identifier: Apache-2.0
#include "bench/texts_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/bench.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <set>
#include <string>
#include <string_view>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

// What a person wrote in the description for other persons.
std::set<std::string, std::less<>> own_texts(const Bench& bench) {
  std::set<std::string, std::less<>> texts{bench.name};
  for (const Channel& channel : bench.channels)
    texts.insert(channel.long_name);
  for (const DerivedChannel& derived : bench.derived.list)
    texts.insert(derived.long_name);
  for (const Actuator& actuator : bench.actuators) {
    texts.insert(actuator.long_name);
    texts.insert(actuator.positions.begin(), actuator.positions.end());
  }
  for (const Interlock& interlock : bench.interlocks)
    texts.insert({interlock.name, interlock.cause, interlock.check});
  texts.erase("");
  return texts;
}

bool is_language(std::string_view name) {
  return (name.size() == 2 || name.size() == 3) &&
         std::all_of(name.begin(), name.end(), [](char c) { return c >= 'a' && c <= 'z'; });
}

}  // namespace

Texts texts_from_tables(const Settings& root, const Bench& bench) {
  Texts texts;
  const std::optional<Settings> all = root.optional_table("texts");
  if (!all) return texts;
  const auto known = own_texts(bench);
  for (const std::string& language : all->keys()) {
    if (!is_language(language)) {
      throw BadInput(all->place(language), fmt::format("'{}' is no language", language),
                     "two or three small letters of ISO 639: es");
    }
    const Settings table = all->table(language);
    for (const std::string& text : table.keys()) {
      if (!known.contains(text)) {
        throw BadInput(table.place(text), fmt::format("'{}' is no text of this bench", text),
                       "a name, long_name, position, cause or check, letter by letter");
      }
      texts[language][text] = table.text(text);
    }
  }
  return texts;
}

Texts texts_of(const Bench& bench) {
  return texts_from_tables(Settings::from_text(bench.text, bench.file.string()), bench);
}

}  // namespace windwright::bench
