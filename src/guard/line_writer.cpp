// SPDX-License-Identifier: Apache-2.0
#include "guard/line_writer.h"

#include <array>
#include <atomic>
#include <cstddef>
#include <deque>
#include <functional>
#include <memory>
#include <semaphore>
#include <thread>
#include <utility>

namespace windwright::guard {

struct LineWriter::Way {
  std::function<void(const Line&)> write;
  std::deque<Line> kept = {};  // of whoever adds
  std::array<Line, 256> lines = {};
  std::atomic<std::size_t> added = 0;
  std::atomic<std::size_t> taken = 0;
  std::counting_semaphore<> come{0};
  std::jthread thread = {};

  void go_on() {
    while (!kept.empty()) {
      const std::size_t next = added.load(std::memory_order_relaxed);
      if (next - taken.load(std::memory_order_acquire) == lines.size()) return;
      lines[next % lines.size()] = std::move(kept.front());
      kept.pop_front();
      added.store(next + 1, std::memory_order_release);
      come.release();
    }
  }
  // Woken without a line: it is over.
  void run() {
    for (std::size_t next = 0;; ++next) {
      come.acquire();
      if (next == added.load(std::memory_order_acquire)) return;
      write(lines[next % lines.size()]);
      taken.store(next + 1, std::memory_order_release);
    }
  }
};

LineWriter::LineWriter(std::function<void(const Line&)> write)
    : way_(std::make_unique<Way>(std::move(write))) {
  way_->thread = std::jthread([way = way_.get()] { way->run(); });
}

LineWriter::~LineWriter() {
  way_->come.release();
  way_->thread.join();
  for (const Line& line : way_->kept)
    way_->write(line);
}

void LineWriter::add(Line line) {
  way_->kept.push_back(std::move(line));
  go_on();
}

void LineWriter::go_on() {
  way_->go_on();
}

}  // namespace windwright::guard
