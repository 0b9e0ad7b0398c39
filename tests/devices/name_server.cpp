// SPDX-License-Identifier: Apache-2.0
#include "devices/name_server.h"

#include <dlfcn.h>
#include <netdb.h>

#include <chrono>
#include <condition_variable>
#include <mutex>
#include <string_view>

namespace windwright::devices {
namespace {

std::mutex mutex;
std::condition_variable gone;
bool silent = false;

void wait_in_vain() {
  std::unique_lock lock(mutex);
  gone.wait_for(lock, std::chrono::seconds(10), [] { return !silent; });
}

}  // namespace

SilentNameServer::SilentNameServer() {
  const std::lock_guard lock(mutex);
  silent = true;
}

SilentNameServer::~SilentNameServer() {
  const std::lock_guard lock(mutex);
  silent = false;
  gone.notify_all();
}

}  // namespace windwright::devices

extern "C" int getaddrinfo(const char* node, const char* service, const addrinfo* hints,
                           addrinfo** result) {
  using LookUp = int (*)(const char*, const char*, const addrinfo*, addrinfo**);
  static const auto of_the_system = reinterpret_cast<LookUp>(::dlsym(RTLD_NEXT, "getaddrinfo"));
  const bool numbers_only = hints != nullptr && (hints->ai_flags & AI_NUMERICHOST) != 0;
  if (numbers_only || node == nullptr ||
      node != std::string_view(windwright::devices::SilentNameServer::host))
    return of_the_system(node, service, hints, result);
  windwright::devices::wait_in_vain();
  return EAI_AGAIN;
}
