// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "base/text.h"
#include "server/body.h"
#include "server/call.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <string>

namespace windwright::server {

namespace json = boost::json;

namespace {

constexpr std::size_t longest_note = 4000;

// What was told before it is asked for is in it.
Answer page_of(Call& call, const Journal& journal) {
  const std::string* search = call.target.find("search");
  const long long before = whole_parameter(call.target, "before", 0);
  const long long limit = whole_parameter(call.target, "limit", 100);
  if (before < 0 || limit < 1 || limit > 1000) {
    throw station::Refusal(422, "before or limit is outside its range",
                           "before 0 or more, limit 1 to 1000");
  }
  call.serving.writing().wait();
  const Journal::Page page = journal.page(search != nullptr ? *search : std::string(), before,
                                          static_cast<std::size_t>(limit));
  // The lines are JSON already.
  return {
      .status = 200,
      .body = fmt::format("{{\"lines\":[{}],\"more\":{}}}", fmt::join(page.lines, ","), page.more)};
}

}  // namespace

Answer logbook(Call& call) {
  return page_of(call, call.desk->logbook);
}

Answer audit(Call& call) {
  return page_of(call, call.serving.audit());
}

Answer add_note(Call& call) {
  const std::string text(base::trimmed(text_member(call.body, "text")));
  if (text.empty() || text.size() > longest_note) {
    throw station::Refusal(422, "text is empty or too long", "1 to 4000 bytes");
  }
  return {.status = 200, .body = call.desk->note(call.person(), text)};
}

}  // namespace windwright::server
