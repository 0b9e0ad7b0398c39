// SPDX-License-Identifier: Apache-2.0
#include "cli/published.h"

#include "bench/certificates.h"
#include "bench/mqtt_broker.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>
#include <utility>

namespace windwright::cli {

void add_publish_option(CLI::App& verb, std::string& publish) {
  verb.add_option("--publish", publish,
                  "'none': publish nothing, whatever [publish] of the bench's file says")
      ->check(CLI::IsMember({"none"}));
}

Published::Published(const bench::Bench& bench, const std::string& option, publishing::Doing doing)
    : bench_(bench) {
  if (!bench.publish || option == "none") return;
  doing.software_version = WINDWRIGHT_VERSION;
  publisher_ = std::make_unique<publishing::Publisher>(bench, bench::certificates_there_are(bench),
                                                       std::move(doing));
}

bench::Device& Published::overhear(bench::Device& device) {
  if (!publisher_) return device;
  return overheard_.emplace(bench_, device, *publisher_);
}

void Published::finish(const publishing::Ended& ended) {
  if (!publisher_ || finished_) return;
  finished_ = true;
  publisher_->finish(ended);
  for (const std::string& remark : publisher_->remarks())
    fmt::print(stderr, "publishing: {}\n", remark);
}

boost::json::value Published::summary() const {
  if (!publisher_) return nullptr;
  return boost::json::object{{"topic", publisher_->topic()},
                             {"messages", publisher_->messages()},
                             {"remarks", boost::json::value_from(publisher_->remarks())}};
}

}  // namespace windwright::cli
