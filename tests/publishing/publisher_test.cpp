// SPDX-License-Identifier: Apache-2.0
#include "publishing/publisher.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "counted_allocations.h"
#include "publishing/bench_that_publishes.h"

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace windwright::publishing {
namespace {

const std::vector<std::optional<metrology::Certificate>> no_certificates(3);

/// Takes connections of this computer, and never says a word.
class SilentPeer {
 public:
  SilentPeer() : socket_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    EXPECT_EQ(::bind(socket_, reinterpret_cast<const sockaddr*>(&address), size), 0);
    EXPECT_EQ(::listen(socket_, 8), 0);
    ::getsockname(socket_, reinterpret_cast<sockaddr*>(&address), &size);
    port = ntohs(address.sin_port);
  }
  ~SilentPeer() { ::close(socket_); }
  SilentPeer(const SilentPeer&) = delete;
  SilentPeer& operator=(const SilentPeer&) = delete;

  int port = 0;

 private:
  int socket_;
};

TEST(Publisher, ABrokerThatNeverAnswersCostsWhoMeasuresNoMemoryAndNoTurn) {
  const SilentPeer peer;
  const bench::Bench bench = bench_that_publishes(peer.port);
  Publisher publisher(bench, no_certificates,
                      {.state = "recording", .into = "a.h5", .software_version = "0"});
  const bench::SampleBlock block = block_of(std::vector<double>(10, 2.5), 0);
  const std::int64_t before = allocations_here;
  for (int i = 0; i < 100'000; ++i)
    publisher.hear(block);
  EXPECT_EQ(allocations_here, before);
  publisher.finish({.ending = "complete", .cause = {}});
  EXPECT_EQ(publisher.messages(), 0);
  const std::vector<std::string> remarks = publisher.remarks();
  ASSERT_EQ(remarks.size(), 2U);
  EXPECT_NE(remarks[0].find("was never reached, nothing was published"), std::string::npos)
      << remarks[0];
  EXPECT_NE(remarks[1].find("blocks came too fast for publishing"), std::string::npos)
      << remarks[1];
}

TEST(Publisher, AFileThatIsNotThereIsSaidBeforeAnythingBegins) {
  bench::Bench bench = bench_that_publishes(1883);
  bench.publish->broker.ca_file = "/no/such/file";
  bench.publish->broker.ca_place = "bench.toml:7";
  try {
    const Publisher publisher(bench, no_certificates,
                              {.state = {}, .into = {}, .software_version = {}});
    ADD_FAILURE() << "not refused";
  } catch (const base::BadInput& error) {
    EXPECT_STREQ(error.what(),
                 "bench.toml:7: there is no file '/no/such/file': a file, from the bench's folder "
                 "or absolute");
  }
}

}  // namespace
}  // namespace windwright::publishing
