// SPDX-License-Identifier: Apache-2.0
// Runs a fuzz target without libFuzzer: every seed as it is, then seeded changes of seeds.
// Use: TARGET_fuzz RUNS SEED_FILE...
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <string>
#include <vector>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace {

using Bytes = std::vector<std::uint8_t>;
constexpr std::size_t longest = 65536;

Bytes bytes_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

class Changer {
 public:
  explicit Changer(std::vector<Bytes> seeds) : seeds_(std::move(seeds)) {}

  Bytes next() {
    Bytes bytes = seeds_[below(seeds_.size())];
    for (std::size_t changes = 1 + below(6); changes > 0; --changes)
      change(bytes);
    bytes.resize(std::min(bytes.size(), longest));
    return bytes;
  }

 private:
  std::size_t below(std::size_t end) { return end > 0 ? random_() % end : 0; }

  void change(Bytes& bytes) {
    static const std::vector<std::string> awkward{
        "nan", "inf",  "-1",  "0",  "1e999",   "-0.0",     "99999999999999999999",
        "\n",  "\r\n", "\t",  "\"", "[",       "]",        "{",
        "}",   "=",    ",",   "#",  "\\u0000", "\xff\xfe", "1e-320",
        "[[",  "'''",  "\x00"};
    const auto at = static_cast<std::ptrdiff_t>(below(bytes.size() + 1));
    const auto end =
        at + static_cast<std::ptrdiff_t>(below(bytes.size() - static_cast<std::size_t>(at) + 1));
    switch (below(7)) {
      case 0:
        if (!bytes.empty()) bytes[below(bytes.size())] ^= static_cast<std::uint8_t>(1U << below(8));
        return;
      case 1:
        if (!bytes.empty()) bytes[below(bytes.size())] = static_cast<std::uint8_t>(below(256));
        return;
      case 2:
        bytes.erase(bytes.begin() + at, std::min(bytes.begin() + end, bytes.begin() + at + 40));
        return;
      case 3: {
        const std::string& word = awkward[below(awkward.size())];
        bytes.insert(bytes.begin() + at, word.begin(), word.end());
        return;
      }
      case 4: {
        const Bytes again(bytes.begin() + at,
                          std::min(bytes.begin() + end, bytes.begin() + at + 200));
        bytes.insert(bytes.begin() + at, again.begin(), again.end());
        return;
      }
      case 5:
        bytes.resize(static_cast<std::size_t>(at));
        return;
      default: {
        const Bytes& other = seeds_[below(seeds_.size())];
        const auto from = static_cast<std::ptrdiff_t>(below(other.size() + 1));
        bytes.resize(static_cast<std::size_t>(at));
        bytes.insert(bytes.end(), other.begin() + from, other.end());
      }
    }
  }

  std::vector<Bytes> seeds_;
  std::mt19937_64 random_{2026};
};

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) {
    std::fputs("use: TARGET_fuzz RUNS SEED_FILE...\n", stderr);
    return 2;
  }
  const long runs = std::strtol(argv[1], nullptr, 10);
  std::vector<Bytes> seeds;
  for (int i = 2; i < argc; ++i) {
    seeds.push_back(bytes_of(argv[i]));
    LLVMFuzzerTestOneInput(seeds.back().data(), seeds.back().size());
  }
  Changer changer(seeds);
  const std::filesystem::path last =
      std::filesystem::temp_directory_path() / "windwright_fuzz_last";
  for (long run = 0; run < runs; ++run) {
    const Bytes bytes = changer.next();
    try {
      LLVMFuzzerTestOneInput(bytes.data(), bytes.size());
    } catch (const std::exception& thrown) {
      std::ofstream(last, std::ios::binary)
          .write(reinterpret_cast<const char*>(bytes.data()),
                 static_cast<std::streamsize>(bytes.size()));
      std::fprintf(stderr, "run %ld threw: %s; its input is in %s\n", run, thrown.what(),
                   last.c_str());
      return 1;
    }
  }
  std::printf("%zu seeds and %ld changes of them taken or refused\n", seeds.size(), runs);
  return 0;
}
