// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/json.h"
#include "cli/stop_on_signal.h"
#include "cli/verbs.h"
#include "server/accounts.h"
#include "server/console_files.h"
#include "server/http_server.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>
#include <termios.h>
#include <unistd.h>

#include <charconv>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;

struct Request {
  std::vector<std::string> benches;
  std::string listen = "127.0.0.1:8460";
  std::string runs = "runs";
  std::string catalogue;
  std::string console;
  std::string accounts;
  std::string add_account;
  std::string role = "observer";
  std::string certificate;
  std::string key;
  double pace = 1.0;
  bool behind_proxy = false;
  std::vector<std::string> hosts;
  std::vector<std::string> at_bench;
  bool json = false;
};

// ADDRESS:PORT, an IPv6 address in brackets.
void read_listen(const std::string& text, server::ListenOptions& options) {
  const std::size_t colon = text.rfind(':');
  const auto refuse = [&] {
    throw base::BadInput("--listen " + text, "is not ADDRESS:PORT",
                         "such as 127.0.0.1:8460 or [::1]:8460");
  };
  if (colon == std::string::npos || colon == 0) refuse();
  options.address = text.substr(0, colon);
  if (options.address.front() == '[' && options.address.back() == ']') {
    options.address = options.address.substr(1, options.address.size() - 2);
  }
  const char* end = text.data() + text.size();
  const auto read = std::from_chars(text.data() + colon + 1, end, options.port);
  if (read.ec != std::errc() || read.ptr != end || options.port < 0 || options.port > 65'535)
    refuse();
}

// A line of stdin; from a terminal without showing it.
std::string password_from_stdin() {
  const bool person = isatty(STDIN_FILENO) == 1;
  termios before{};
  if (person) {
    fmt::print(stderr, "password: ");
    std::fflush(stderr);
    tcgetattr(STDIN_FILENO, &before);
    termios silent = before;
    silent.c_lflag &= ~static_cast<tcflag_t>(ECHO);
    tcsetattr(STDIN_FILENO, TCSANOW, &silent);
  }
  std::string password;
  std::getline(std::cin, password);
  if (person) {
    tcsetattr(STDIN_FILENO, TCSANOW, &before);
    fmt::print(stderr, "\n");
  }
  return password;
}

int add_account(const Request& request) {
  if (request.accounts.empty()) {
    throw base::BadInput("--add-account", "has nowhere to go", "--accounts FILE");
  }
  const auto role = server::role_from(request.role);
  if (!role || *role == server::Role::nobody) {
    throw base::BadInput("--role", fmt::format("'{}' is no role", request.role),
                         "observer, learner, operator or instructor");
  }
  server::Accounts::add(request.accounts, {.name = request.add_account, .role = *role},
                        password_from_stdin());
  fmt::print("{}: {} is {}\n", request.accounts, request.add_account, request.role);
  return done;
}

int run_serve(const Request& request) {
  if (!request.add_account.empty()) return add_account(request);
  if (request.benches.empty()) {
    throw base::BadInput("serve", "has no bench", "--bench FILE, once for each bench");
  }
  server::ListenOptions listen;
  read_listen(request.listen, listen);
  if (!request.certificate.empty()) listen.certificate = request.certificate;
  if (!request.key.empty()) listen.key = request.key;
  listen.behind_proxy = request.behind_proxy;
  listen.hosts = {request.hosts.begin(), request.hosts.end()};
  listen.at_bench = {request.at_bench.begin(), request.at_bench.end()};
  server::ServingOptions options{.benches = {request.benches.begin(), request.benches.end()},
                                 .runs = std::filesystem::absolute(request.runs),
                                 .catalogue = request.catalogue,
                                 .accounts = {},
                                 .hosts = {},
                                 .at_bench = {},
                                 .pace = {request.pace}};
  if (!request.accounts.empty()) options.accounts = request.accounts;
  const StopOnSignal stop;
  server::HttpServer server(options, listen,
                            request.console.empty()
                                ? server::ConsoleFiles::built_in()
                                : server::ConsoleFiles::of_folder(request.console));
  const std::string url = fmt::format("{}://{}:{}/", listen.certificate ? "https" : "http",
                                      listen.address.find(':') == std::string::npos
                                          ? listen.address
                                          : fmt::format("[{}]", listen.address),
                                      server.port());
  json::array benches;
  for (const auto& desk : server.serving().benches())
    benches.emplace_back(desk->id);
  if (request.json) {
    fmt::print("{}", base::json_text(json::object{
                         {"url", url}, {"port", server.port()}, {"benches", benches}}));
  } else {
    fmt::print("{} until Ctrl-C\n", url);
    fmt::print("Rotating blades: the hard-wired emergency stop comes first.\n");
  }
  std::fflush(stdout);
  server.run(stop.token());
  return done;
}

}  // namespace

void add_serve(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "serve", "Serve benches to browsers and programs: console, HTTP and live values");
  verb->add_option("--bench", request->benches, "bench description; once for each bench")
      ->allow_extra_args(false);
  verb->add_option("--listen", request->listen,
                   "ADDRESS:PORT; port 0 takes a free one. Any address but loopback needs accounts "
                   "and TLS")
      ->capture_default_str();
  verb->add_option("--runs", request->runs,
                   "folder for runs (a folder a bench), logbooks, catalogue and audit")
      ->capture_default_str();
  verb->add_option("--catalogue", request->catalogue,
                   "a file, or postgresql://...; else catalogue.sqlite in --runs");
  verb->add_option("--console", request->console,
                   "folder of a built console; else the one in this program");
  verb->add_option("--accounts", request->accounts,
                   "who may log in; without it whoever gives a name may, on loopback only");
  verb->add_option("--add-account", request->add_account,
                   "add this name to --accounts, with a password from stdin, and end");
  verb->add_option("--role", request->role, "of --add-account")->capture_default_str();
  verb->add_option("--certificate", request->certificate, "TLS: PEM file with its chain");
  verb->add_option("--key", request->key, "TLS: PEM file of the certificate's key");
  verb->add_flag("--behind-proxy", request->behind_proxy,
                 "a proxy in front has TLS and says in X-Forwarded-For who asks");
  verb->add_option("--host", request->hosts,
                   "a further name that browsers call this server by, with its port")
      ->allow_extra_args(false);
  verb->add_option("--at-bench", request->at_bench,
                   "address of a computer that stands at the benches: who sits there may consent "
                   "and reset")
      ->allow_extra_args(false);
  verb->add_option("--pace", request->pace,
                   "of simulated benches and replays: so many times as fast as the world, to try "
                   "things out")
      ->check(CLI::Range(0.1, 100.0))
      ->capture_default_str();
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright serve --bench examples/saltmarsh-college/bench.toml\n"
      "  windwright serve --accounts accounts.json --add-account Ana --role operator");
  verb->callback([request, &exit_code] { exit_code = run_serve(*request); });
}

}  // namespace windwright::cli
