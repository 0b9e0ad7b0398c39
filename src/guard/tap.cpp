// SPDX-License-Identifier: Apache-2.0
#include "guard/tap.h"

#include "base/errors.h"
#include "guard/whole.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/futex.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cerrno>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <ctime>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::guard {
namespace {

using bench::SampleBlock;

constexpr std::uint64_t slots = 16;

struct Text {
  std::uint64_t number;
  std::uint64_t length;
  std::array<char, 240> bytes;
};

Text text_of(std::uint64_t number, std::string_view words) {
  Text text{.number = number, .length = std::min(words.size(), Text{}.bytes.size()), .bytes = {}};
  std::copy_n(words.begin(), text.length, text.bytes.begin());
  return text;
}

std::string words_of(const Text& text) {
  return {text.bytes.data(), std::min<std::size_t>(text.length, text.bytes.size())};
}

struct PulseWords {
  std::uint64_t number = 0;
  std::int64_t time_ns = 0;
  std::uint64_t activity = 0;
  std::uint64_t state = 0;
  std::uint64_t driven = 0;
  std::uint64_t holds_off = 0;
  std::uint64_t given = 0;  // 0: by an earlier process
};

Activity activity_of(const PulseWords& words) {
  return words.activity == 0   ? Activity::standing
         : words.activity == 1 ? Activity::running
                               : Activity::ended;
}

/// Of one side.
struct Half {
  Whole<Text> configuration;
  Whole<PulseWords> pulse;
  Whole<Text> cause;
  // Apart from the heartbeat, which may be torn: over all processes there ever were.
  std::atomic<std::uint64_t> beats;
  std::atomic<std::uint64_t> lives;
  std::atomic<std::uint64_t> died;  // the last life that did not end in order
};

/// All zeroes, as new memory is, means that nobody was there yet.
struct Memory {
  std::array<Half, 2> halves;
  Whole<Text> wish;
  Whole<Text> answer;
  std::atomic<std::uint32_t> bell;
  std::atomic<std::uint64_t> channels;
  std::atomic<std::uint64_t> kept;  // of them
  std::atomic<std::uint64_t> samples;
  std::atomic<std::uint64_t> written;  // blocks, ever
};

struct SlotHead {
  std::atomic<std::uint64_t> turn;  // 2 n + 1 while block n is written, then 2 n + 2
  std::atomic<std::int64_t> first_sample;
  std::atomic<std::int64_t> start_ns;
  std::atomic<std::uint64_t> gap_before;
  std::atomic<std::uint64_t> channels;
  std::atomic<std::uint64_t> samples;
  std::atomic<std::uint64_t> life;  // of the acquisition that has written it
};
using Count = std::atomic<std::int32_t>;
static_assert(Count::is_always_lock_free && sizeof(Count) == sizeof(std::int32_t));
constexpr std::size_t alignment = alignof(SlotHead);

[[noreturn]] void fail(const std::string& name, int error) {
  throw base::DiskFault("shared memory " + name,
                        fmt::format("cannot be used ({})", std::strerror(error)),
                        "room and permissions of /dev/shm, and whether another user has it");
}

bool lock(int handle, Side side) {
  struct flock region{};
  region.l_type = F_WRLCK;
  region.l_whence = SEEK_SET;
  region.l_start = static_cast<off_t>(side);
  region.l_len = 1;
  return fcntl(handle, F_OFD_SETLK, &region) == 0;
}

bool is_locked(int handle, Side side) {
  struct flock region{};
  region.l_type = F_WRLCK;
  region.l_whence = SEEK_SET;
  region.l_start = static_cast<off_t>(side);
  region.l_len = 1;
  return fcntl(handle, F_OFD_GETLK, &region) == 0 && region.l_type != F_UNLCK;
}

/// The memory of that name in this process, at least so large.
class Mapping {
 public:
  Mapping(const std::string& name, std::size_t bytes, int flags)
      : handle_(shm_open(name.c_str(), O_RDWR | flags, 0600)), bytes_(bytes) {
    if (handle_ < 0) fail(name, errno);
    // Only ever grows: another process may have mapped it already.
    const int error = posix_fallocate(handle_, 0, static_cast<off_t>(bytes));
    if (error == 0) {
      place_ = mmap(nullptr, bytes, PROT_READ | PROT_WRITE, MAP_SHARED, handle_, 0);
      if (place_ != MAP_FAILED) return;
    }
    const int cause = error == 0 ? errno : error;
    close(handle_);
    fail(name, cause);
  }
  ~Mapping() {
    munmap(place_, bytes_);
    close(handle_);
  }
  Mapping(const Mapping&) = delete;
  Mapping& operator=(const Mapping&) = delete;

  int handle() const { return handle_; }
  Memory& memory() const { return *static_cast<Memory*>(place_); }
  std::byte* behind(std::size_t offset) const { return static_cast<std::byte*>(place_) + offset; }

 private:
  int handle_;
  std::size_t bytes_;
  void* place_ = nullptr;
};

std::size_t aligned(std::size_t bytes) {
  return (bytes + alignment - 1) / alignment * alignment;
}

std::size_t slot_bytes(const Tap::Shape& shape) {
  return aligned(sizeof(SlotHead) + shape.kept() * shape.samples * sizeof(Count));
}

std::size_t all_bytes(const Tap::Shape& shape) {
  return aligned(sizeof(Memory)) + slots * slot_bytes(shape);
}

}  // namespace

struct Tap::Open {
  Mapping mapping;
  Shape shape;
  Side side;
  std::uint64_t next = 0;                // block to read
  mutable std::uint64_t block_life = 0;  // of the last one read
  std::uint64_t missed = 0;
  mutable std::uint32_t heard = 0;               // of the bell
  mutable std::optional<PulseWords> pulse = {};  // of the other side, as last read whole

  Memory& memory() const { return mapping.memory(); }
  Half& own() const { return memory().halves[static_cast<std::size_t>(side)]; }
  const Half& others() const { return memory().halves[static_cast<std::size_t>(other(side))]; }
  SlotHead& slot(std::uint64_t block) const {
    std::byte* place =
        mapping.behind(aligned(sizeof(Memory)) + (block % slots) * slot_bytes(shape));
    // NOLINTNEXTLINE(cppcoreguidelines-pro-type-reinterpret-cast): of memory that is shared
    return *reinterpret_cast<SlotHead*>(place);
  }
  static Count* counts(SlotHead& head) {
    // NOLINTNEXTLINE(cppcoreguidelines-pro-type-reinterpret-cast): behind the head, see slot_bytes
    return reinterpret_cast<Count*>(&head + 1);
  }
  bool copy(std::uint64_t block, SampleBlock& to) const;
  void ring() const {
    memory().bell.fetch_add(1, std::memory_order_release);
    syscall(SYS_futex, &memory().bell, FUTEX_WAKE, 1, nullptr, nullptr, 0);
  }
  // Whoever was there before: torn or not, it has died unless its last word is that it has ended.
  // The life before the heartbeat: who has seen this one's heartbeat finds its life as well.
  void begin_life() const {
    Half& half = own();
    const std::uint64_t before = half.lives.load(std::memory_order_relaxed);
    const std::optional<PulseWords> last = half.pulse.load();
    const bool in_order = last && (last->given == 0 || activity_of(*last) == Activity::ended);
    if (before > 0 && !in_order) half.died.store(before, std::memory_order_release);
    half.lives.store(before + 1, std::memory_order_release);
    half.pulse.store({.number = half.beats.load(std::memory_order_relaxed)});
  }
  // Slots of another shape lie elsewhere.
  void take_shape() const {
    Memory& all = memory();
    if (all.channels == shape.channels && all.samples == shape.samples &&
        all.kept == shape.kept()) {
      return;
    }
    std::memset(mapping.behind(aligned(sizeof(Memory))), 0, slots * slot_bytes(shape));
    all.channels = shape.channels;
    all.kept = shape.kept();
    all.samples = shape.samples;
  }
};

Tap::Tap(std::unique_ptr<Open> open) : open_(std::move(open)) {}
Tap::Tap(Tap&& other) noexcept = default;
Tap& Tap::operator=(Tap&& other) noexcept = default;
Tap::~Tap() = default;

std::optional<Tap> Tap::open(const std::string& name, const Shape& shape, Side side,
                             std::string_view configuration) {
  // Open's members are made in place: a mapping does not move.
  auto open = std::unique_ptr<Open>(
      new Open{.mapping{name, all_bytes(shape), O_CREAT}, .shape = shape, .side = side});
  if (!lock(open->mapping.handle(), side)) return std::nullopt;
  open->begin_life();
  open->own().configuration.store(text_of(0, configuration));
  open->own().cause.store(text_of(0, {}));
  if (side == Side::acquisition) open->take_shape();
  const std::optional<Text> wish = open->memory().wish.load();
  // A wish that an earlier guard did not come to is not this one's.
  if (side == Side::guard && wish)
    open->memory().answer.store(text_of(wish->number, "asked of a guard that has ended"));
  open->next = open->memory().written.load(std::memory_order_acquire);
  return Tap(std::move(open));
}

void Tap::remove(const std::string& name) {
  shm_unlink(name.c_str());
}

bool Tap::other_lives() const {
  return is_locked(open_->mapping.handle(), other(open_->side));
}

bool Tap::lives(const std::string& name, Side side) {
  const Mapping mapping(name, sizeof(Memory), O_CREAT);
  return is_locked(mapping.handle(), side);
}

std::optional<Pulse> Tap::other_pulse() const {
  // Whoever is frozen while it writes has gone silent with the heartbeat before.
  std::optional<PulseWords>& words = open_->pulse;
  if (const auto read = open_->others().pulse.load()) words = read;
  if (!words || words->given == 0) return std::nullopt;
  return Pulse{.number = words->number,
               .time = Instant(std::chrono::nanoseconds(words->time_ns)),
               .words = {.activity = activity_of(*words),
                         // What is no state is none that a fan may run in.
                         .state = words->state < state_count ? static_cast<State>(words->state)
                                                             : State::tripped,
                         .driven = words->driven != 0,
                         .holds_off = words->holds_off != 0}};
}

std::uint64_t Tap::other_life() const {
  return open_->others().lives.load(std::memory_order_acquire);
}

std::uint64_t Tap::last_died() const {
  return open_->others().died.load(std::memory_order_acquire);
}

std::string Tap::other_configuration() const {
  const std::optional<Text> text = open_->others().configuration.load();
  return text ? words_of(*text) : std::string();
}

std::string Tap::other_cause() const {
  const std::optional<Text> text = open_->others().cause.load();
  return text ? words_of(*text) : std::string();
}

void Tap::beat(Instant now, const Words& words) {
  const auto since = std::chrono::duration_cast<std::chrono::nanoseconds>(now.time_since_epoch());
  // Counted before it is given: who dies within is not counted twice.
  const std::uint64_t number = open_->own().beats.fetch_add(1, std::memory_order_relaxed) + 1;
  open_->own().pulse.store({.number = number,
                            .time_ns = since.count(),
                            .activity = static_cast<std::uint64_t>(words.activity),
                            .state = static_cast<std::uint64_t>(words.state),
                            .driven = words.driven ? 1U : 0U,
                            .holds_off = words.holds_off ? 1U : 0U,
                            .given = 1});
  if (open_->side == Side::acquisition) open_->ring();
}

void Tap::set_cause(std::string_view cause) {
  open_->own().cause.store(text_of(0, cause));
}

void Tap::write(const SampleBlock& block) {
  if (block.channels != open_->shape.channels || block.samples > open_->shape.samples) return;
  Memory& memory = open_->memory();
  const std::uint64_t number = memory.written.load(std::memory_order_relaxed);
  SlotHead& head = open_->slot(number);
  head.turn.store(2 * number + 1, std::memory_order_relaxed);
  head.first_sample.store(block.first_sample, std::memory_order_release);
  head.start_ns.store(block.start.time_since_epoch().count(), std::memory_order_release);
  head.gap_before.store(block.gap_before ? 1 : 0, std::memory_order_release);
  head.channels.store(block.channels, std::memory_order_release);
  head.samples.store(block.samples, std::memory_order_release);
  head.life.store(open_->own().lives.load(std::memory_order_relaxed), std::memory_order_release);
  Count* counts = Open::counts(head);
  const Shape& shape = open_->shape;
  for (std::size_t place = 0; place < shape.kept(); ++place) {
    for (const std::int32_t count : block.channel(shape.channel(place)))
      (counts++)->store(count, std::memory_order_release);
  }
  head.turn.store(2 * number + 2, std::memory_order_release);
  memory.written.store(number + 1, std::memory_order_release);
  open_->ring();
}

bool Tap::Open::copy(std::uint64_t block, SampleBlock& to) const {
  SlotHead& head = slot(block);
  const std::uint64_t turn = head.turn.load(std::memory_order_acquire);
  if (turn != 2 * block + 2) return false;
  to.first_sample = head.first_sample.load(std::memory_order_acquire);
  to.start = base::UtcTime(std::chrono::nanoseconds(head.start_ns.load(std::memory_order_acquire)));
  to.gap_before = head.gap_before.load(std::memory_order_acquire) != 0;
  to.channels = head.channels.load(std::memory_order_acquire);
  to.samples = head.samples.load(std::memory_order_acquire);
  block_life = head.life.load(std::memory_order_acquire);
  if (to.channels != shape.channels || to.samples > shape.samples) {
    to = {};
    return false;
  }
  if (to.counts.size() != to.channels * to.samples) to.counts.assign(to.channels * to.samples, 0);
  const Count* counts = Open::counts(head);
  for (std::size_t place = 0; place < shape.kept(); ++place) {
    std::int32_t* const channel = to.counts.data() + shape.channel(place) * to.samples;
    for (std::size_t i = 0; i < to.samples; ++i)
      channel[i] = (counts++)->load(std::memory_order_acquire);
  }
  return head.turn.load(std::memory_order_relaxed) == turn;
}

bool Tap::read(SampleBlock& block) {
  const std::uint64_t written = open_->memory().written.load(std::memory_order_acquire);
  if (open_->next > written) open_->next = written;  // only where somebody wrote nonsense
  if (written - open_->next > slots) {
    open_->missed += written - slots - open_->next;
    open_->next = written - slots;
  }
  while (open_->next < written) {
    if (open_->copy(open_->next++, block)) return true;
    ++open_->missed;
  }
  return false;
}

std::uint64_t Tap::block_life() const {
  return open_->block_life;
}

std::uint64_t Tap::missed() {
  return std::exchange(open_->missed, 0);
}

void Tap::wait(std::chrono::nanoseconds longest) const {
  std::atomic<std::uint32_t>& bell = open_->memory().bell;
  constexpr std::int64_t second = 1'000'000'000;
  const timespec patience{.tv_sec = longest.count() / second, .tv_nsec = longest.count() % second};
  syscall(SYS_futex, &bell, FUTEX_WAIT, open_->heard, &patience, nullptr, 0);
  open_->heard = bell.load(std::memory_order_acquire);
}

std::optional<std::uint64_t> Tap::ask_reset(const std::string& name, std::string_view reason) {
  const Mapping mapping(name, sizeof(Memory), O_CREAT);
  if (!is_locked(mapping.handle(), Side::guard)) return std::nullopt;
  const std::optional<Text> last = mapping.memory().wish.load();
  const std::uint64_t number = last ? last->number + 1 : 1;
  mapping.memory().wish.store(text_of(number, reason));
  return number;
}

std::optional<std::string> Tap::answer_to_reset(const std::string& name, std::uint64_t number) {
  const Mapping mapping(name, sizeof(Memory), O_CREAT);
  const std::optional<Text> answer = mapping.memory().answer.load();
  if (!answer || answer->number != number) return std::nullopt;
  return words_of(*answer);
}

std::optional<std::string> Tap::reset_asked() const {
  const std::optional<Text> wish = open_->memory().wish.load();
  if (!wish) return std::nullopt;
  const std::optional<Text> answer = open_->memory().answer.load();
  if (answer && answer->number == wish->number) return std::nullopt;
  return words_of(*wish);
}

void Tap::answer_reset(std::string_view words) {
  const std::optional<Text> wish = open_->memory().wish.load();
  if (wish) open_->memory().answer.store(text_of(wish->number, words));
}

}  // namespace windwright::guard
