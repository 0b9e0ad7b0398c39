// SPDX-License-Identifier: Apache-2.0
#include "devices/iio_stream.h"

#include "base/errors.h"

#include <fmt/format.h>
#include <iio.h>
#include <pthread.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <condition_variable>
#include <csignal>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <ctime>
#include <functional>
#include <future>
#include <memory>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <system_error>
#include <thread>
#include <vector>

namespace windwright::devices {
namespace {

using base::DeviceFault;

/// A reading lasts at most so long, so that commands and the guard are not kept waiting.
constexpr double longest_reading_s = 0.1;
/// Readings that the kernel holds while the program is busy; more than its usual 4.
constexpr unsigned kernel_buffers = 16;
/// A description is many answers.
constexpr double connect_timeouts = 5.0;

struct Destroy {
  void operator()(iio_context* context) const { iio_context_destroy(context); }
  void operator()(iio_buffer* buffer) const { iio_buffer_destroy(buffer); }
};

std::string reason(long code) {
  return std::generic_category().message(static_cast<int>(code < 0 ? -code : code));
}

[[noreturn]] void lose(const std::string& what, long code) {
  throw LinkLost(fmt::format("{}: {}", what, reason(code)));
}

/// libiio writes to sockets that may be closed: the signal for that would end the program. While
/// this is there the calling thread gets none.
class WithoutPipeSignal {
 public:
  WithoutPipeSignal() {
    sigemptyset(&pipe_);
    sigaddset(&pipe_, SIGPIPE);
    pthread_sigmask(SIG_BLOCK, &pipe_, &before_);
  }
  ~WithoutPipeSignal() {
    // Where the caller had it blocked already, what is pending may be theirs.
    const timespec at_once{};
    if (sigismember(&before_, SIGPIPE) == 0) sigtimedwait(&pipe_, nullptr, &at_once);
    pthread_sigmask(SIG_SETMASK, &before_, nullptr);
  }
  WithoutPipeSignal(const WithoutPipeSignal&) = delete;
  WithoutPipeSignal& operator=(const WithoutPipeSignal&) = delete;

 private:
  sigset_t pipe_{};
  sigset_t before_{};
};

/// Calls off a reading that lasts too long: libiio's timeout begins anew with every byte.
class Watch {
 public:
  explicit Watch(std::function<void()> call_off)
      : call_off_(std::move(call_off)),
        thread_([this](const std::stop_token& over) { run(over); }) {}
  void begin(std::chrono::duration<double> longest) {
    {
      const std::lock_guard lock(mutex_);
      until_ = std::chrono::steady_clock::now() +
               std::chrono::duration_cast<std::chrono::nanoseconds>(longest);
    }
    changed_.notify_one();
  }
  void end() {
    const std::lock_guard lock(mutex_);
    until_.reset();
  }

 private:
  void run(const std::stop_token& over) {
    std::unique_lock lock(mutex_);
    while (!over.stop_requested()) {
      if (!until_) {
        changed_.wait(lock, over, [this] { return until_.has_value(); });
      } else if (std::chrono::steady_clock::now() >= *until_) {
        call_off_();
        until_.reset();
      } else {
        const auto watched = *until_;
        changed_.wait_until(lock, over, watched, [&] { return until_ != watched; });
      }
    }
  }

  std::function<void()> call_off_;
  std::mutex mutex_;
  std::condition_variable_any changed_;
  std::optional<std::chrono::steady_clock::time_point> until_;
  std::jthread thread_;  // last: it uses what stands above
};

/// Opens what is behind the URI. libiio reads the description of a computer on the network without
/// a deadline of its own (its timeout begins anew with every byte), so that a thread of its own
/// does it, left alone where it lasts too long.
/// @throws LinkLost  not in this time
std::unique_ptr<iio_context, Destroy> context_within(const std::string& uri, double longest_s) {
  struct Opened {
    std::unique_ptr<iio_context, Destroy> context;
    int code;
  };
  auto promise = std::make_shared<std::promise<Opened>>();  // shared: either side may go first
  std::future<Opened> opened = promise->get_future();
  std::thread([promise, uri]() mutable {
    const WithoutPipeSignal quiet;
    std::unique_ptr<iio_context, Destroy> context(  // libiio 0.24 writes into a URI with a port
        iio_create_context_from_uri(uri.data()));
    const int code = errno;
    promise->set_value({.context = std::move(context), .code = code});
  }).detach();
  if (opened.wait_for(std::chrono::duration<double>(longest_s)) != std::future_status::ready)
    throw LinkLost(fmt::format("'{}' is not described within {:g} s", uri, longest_s));
  Opened got = opened.get();
  if (!got.context) lose(fmt::format("'{}' cannot be opened", uri), got.code);
  return std::move(got.context);
}

/// A number that an attribute holds; nothing where there is no such attribute.
template <typename Owner, typename Read>
std::optional<double> number_of(const Owner* owner, const char* attribute, Read read) {
  double value = 0.0;
  const int code = read(owner, attribute, &value);
  if (code == -ENOENT) return std::nullopt;
  if (code < 0) lose(fmt::format("attribute {} cannot be read", attribute), code);
  return value;
}

std::optional<double> channel_number(const iio_channel* channel, const char* attribute) {
  if (iio_channel_find_attr(channel, attribute) == nullptr) return std::nullopt;
  return number_of(channel, attribute, iio_channel_attr_read_double);
}

/// Whose attribute sets the rate.
struct RateAttribute {
  const iio_device* device = nullptr;
  const iio_channel* channel = nullptr;

  static constexpr const char* name = "sampling_frequency";
  std::string text(const char* attribute) const {
    std::array<char, 4096> bytes{};
    const auto code =
        channel != nullptr
            ? iio_channel_attr_read(channel, attribute, bytes.data(), bytes.size() - 1)
            : iio_device_attr_read(device, attribute, bytes.data(), bytes.size() - 1);
    return code > 0 ? std::string(bytes.data()) : std::string();
  }
  double rate_hz() const {
    const auto value = channel != nullptr ? number_of(channel, name, iio_channel_attr_read_double)
                                          : number_of(device, name, iio_device_attr_read_double);
    return value.value_or(0.0);
  }
  // Drivers that count in whole hertz do not take a decimal point.
  long set(double rate_hz) const {
    const bool whole = rate_hz == std::round(rate_hz);
    const std::string text =
        whole ? fmt::format("{:.0f}", rate_hz) : fmt::format("{:.6f}", rate_hz);
    return channel != nullptr ? iio_channel_attr_write(channel, name, text.c_str())
                              : iio_device_attr_write(device, name, text.c_str());
  }
};

/// A scan channel and how its counts become those of the bench's converter.
struct Scanned {
  iio_channel* channel;
  std::size_t bytes;    // of a sample
  std::int64_t lowest;  // count at the bottom of its range
  std::int64_t steps;
};

std::int64_t converted(const iio_channel* channel, std::size_t bytes, bool is_signed,
                       const void* source) {
  std::array<unsigned char, 8> held{};
  iio_channel_convert(channel, held.data(), source);
  std::uint64_t value = 0;
  std::memcpy(&value, held.data(), bytes);  // little-endian hosts: libiio gives host order
  const int unused = static_cast<int>(64 - 8 * bytes);
  if (is_signed) return static_cast<std::int64_t>(value << unused) >> unused;
  return static_cast<std::int64_t>(value);
}

}  // namespace

struct IioStream::Converter {
  Converter(const bench::Bench& the_bench, const bench::IioDevice& the_description)
      : bench(the_bench), described(the_description) {
    context = context_within(described.uri, connect_timeouts * described.timeout_s);
    const int code = iio_context_set_timeout(
        context.get(), static_cast<unsigned>(std::ceil(1000.0 * described.timeout_s)));
    if (code < 0 && code != -ENOSYS) lose("the timeout cannot be set", code);
    device = find_device(described.name, "iio_name in [device]");
    find_channels();
    find_outputs();
    set_rate();
  }
  ~Converter() {
    watch.reset();
    buffer.reset();
  }

  [[noreturn]] void fault(const std::string& what, const std::string& check) const {
    throw DeviceFault(fmt::format("{} at {}", described.name, described.uri), what, check);
  }

  iio_device* find_device(const std::string& name, const std::string& key) const {
    iio_device* found = iio_context_find_device(context.get(), name.c_str());
    if (found != nullptr) return found;
    std::string names;
    for (unsigned i = 0; i < iio_context_get_devices_count(context.get()); ++i) {
      const iio_device* other = iio_context_get_device(context.get(), i);
      const char* shown = iio_device_get_name(other);
      names += fmt::format("{}{}", names.empty() ? "" : ", ",
                           shown != nullptr ? shown : iio_device_get_id(other));
    }
    fault(fmt::format("there is no '{}'", name),
          fmt::format("{}; there are: {}", key, names.empty() ? "none" : names));
  }

  // What the scan channels that are there are called.
  std::string scan_names() const {
    std::string names;
    for (unsigned i = 0; i < iio_device_get_channels_count(device); ++i) {
      const iio_channel* channel = iio_device_get_channel(device, i);
      if (!iio_channel_is_scan_element(channel) || iio_channel_is_output(channel)) continue;
      names += fmt::format("{}{}", names.empty() ? "" : ", ", iio_channel_get_id(channel));
    }
    return names.empty() ? "none" : names;
  }

  iio_channel* find_scanned(const std::string& id) const {
    iio_channel* channel = iio_device_find_channel(device, id.c_str(), false);
    if (channel != nullptr && iio_channel_is_scan_element(channel)) return channel;
    fault(fmt::format("it has no scan channel '{}'", id), "the names there are: " + scan_names());
  }

  void find_channels() {
    for (unsigned i = 0; i < iio_device_get_channels_count(device); ++i)
      iio_channel_disable(iio_device_get_channel(device, i));
    for (std::size_t i = 0; i < described.channels.size(); ++i) {
      iio_channel* channel = find_scanned(described.channels[i]);
      const iio_data_format* format = iio_channel_get_data_format(channel);
      require_format(bench.channels[i], described.channels[i], *format);
      const std::int64_t steps = std::int64_t{1} << format->bits;
      scanned.push_back({.channel = channel,
                         .bytes = format->length / 8,
                         .lowest = format->is_signed ? -steps / 2 : 0,
                         .steps = steps});
      require_range(bench.channels[i], described.channels[i], scanned.back());
      iio_channel_enable(channel);
    }
    if (!described.gaps_by_time) return;
    timestamp = find_scanned("timestamp");
    if (iio_channel_get_data_format(timestamp)->length != 64)
      fault("its time stamp does not have 64 bits", "gaps_by_time = false");
    iio_channel_enable(timestamp);
  }

  void require_format(const bench::Channel& channel, const std::string& id,
                      const iio_data_format& format) const {
    const bool known =
        (format.length == 8 || format.length == 16 || format.length == 32 || format.length == 64) &&
        format.repeat <= 1 && format.shift + format.bits <= format.length;
    if (known && format.bits == static_cast<unsigned>(channel.converter.bits)) return;
    fault(fmt::format("'{}' gives {} bits of {}", id, format.bits, format.length),
          fmt::format("bits of {}, which is {}", channel.name, channel.converter.bits));
  }

  // Of other kinds than voltages range_V is only the ruler that the certificate goes by.
  void require_range(const bench::Channel& channel, const std::string& id,
                     const Scanned& counts) const {
    const iio_chan_type type = iio_channel_get_type(counts.channel);
    if (type != IIO_VOLTAGE && type != IIO_ALTVOLTAGE) return;
    const auto scale = channel_number(counts.channel, "scale");
    if (!scale) return;
    const double offset = channel_number(counts.channel, "offset").value_or(0.0);
    const double lower_V = (static_cast<double>(counts.lowest) + offset) * *scale / 1000.0;
    const double upper_V = lower_V + static_cast<double>(counts.steps) * *scale / 1000.0;
    const bench::Converter& wanted = channel.converter;
    const double near_V = 1e-3 * std::abs(upper_V - lower_V);
    const bool same = std::abs(lower_V - wanted.lower_V) <= near_V &&
                      std::abs(upper_V - wanted.upper_V) <= near_V;
    if (same) return;
    fault(
        fmt::format("'{}' spans {:.6g} to {:.6g} V by its scale and offset", id, lower_V, upper_V),
        fmt::format("range_V of {}, which is {:g} to {:g}", channel.name, wanted.lower_V,
                    wanted.upper_V));
  }

  void find_outputs() {
    for (const bench::IioDevice::Output& output : described.outputs) {
      outputs.push_back(nullptr);
      if (output.device.empty()) continue;
      const iio_device* owner = find_device(output.device, "iio_name of the actuator");
      iio_channel* channel = iio_device_find_channel(owner, output.channel.c_str(), true);
      if (channel == nullptr || iio_channel_find_attr(channel, "raw") == nullptr) {
        fault(
            fmt::format("'{}' has no output '{}' that takes counts", output.device, output.channel),
            "channel of the actuator");
      }
      outputs.back() = channel;
    }
  }

  // The converter's own rate, else that of a channel, else that of what triggers it.
  std::optional<RateAttribute> rate_attribute(const iio_device* trigger) const {
    const char* name = RateAttribute::name;
    if (iio_device_find_attr(device, name) != nullptr) return RateAttribute{.device = device};
    for (const Scanned& one : scanned) {
      if (iio_channel_find_attr(one.channel, name) != nullptr)
        return RateAttribute{.channel = one.channel};
    }
    if (trigger != nullptr && iio_device_find_attr(trigger, name) != nullptr)
      return RateAttribute{.device = trigger};
    return std::nullopt;
  }

  void set_rate() {
    const iio_device* trigger = nullptr;
    if (!described.trigger.empty()) {
      trigger = find_device(described.trigger, "trigger in [device]");
      if (!iio_device_is_trigger(trigger))
        fault(fmt::format("'{}' is no trigger", described.trigger), "trigger in [device]");
      const int code = iio_device_set_trigger(device, trigger);
      if (code < 0) lose(fmt::format("it does not take the trigger {}", described.trigger), code);
    }
    const auto attribute = rate_attribute(trigger);
    if (!attribute) return;  // then the clock shows whether it is the bench's
    const double wanted_hz = bench.sample_rate_hz;
    if (std::abs(attribute->rate_hz() - wanted_hz) <= 1e-3 * wanted_hz) return;
    const long code = attribute->set(wanted_hz);
    const double rate_hz = attribute->rate_hz();
    if (std::abs(rate_hz - wanted_hz) <= 1e-3 * wanted_hz) return;
    const std::string available = attribute->text("sampling_frequency_available");
    fault(fmt::format("it samples {:g} times a second and cannot be set to {:g}{}", rate_hz,
                      wanted_hz, code < 0 ? " (" + reason(code) + ")" : ""),
          available.empty() ? "sample_rate_hz in [bench]"
                            : "sample_rate_hz in [bench]; it offers " + available);
  }

  void start() {
    const double rate_hz = bench.sample_rate_hz;
    const double reading_s =
        std::min({longest_reading_s, bench.block_s, 0.25 * described.timeout_s});
    const auto samples = std::max<std::int64_t>(1, std::llround(reading_s * rate_hz));
    // Not every driver lets it be chosen; then its own number holds.
    static_cast<void>(iio_device_set_kernel_buffers_count(device, kernel_buffers));
    buffer.reset(iio_device_create_buffer(device, static_cast<std::size_t>(samples), false));
    if (!buffer) {
      const int code = errno;
      lose("it does not begin to sample (another program may, or it needs a trigger)", code);
    }
    watch = std::make_unique<Watch>([this] { iio_buffer_cancel(buffer.get()); });
  }

  void read(Chunk& chunk) {
    if (!buffer) start();
    watch->begin(std::chrono::duration<double>(described.timeout_s));
    const auto code = iio_buffer_refill(buffer.get());
    watch->end();
    if (code == -EBADF)
      throw LinkLost(fmt::format("no samples within {:g} s", described.timeout_s));
    if (code < 0) lose("no samples come", code);
    const auto step = static_cast<std::size_t>(iio_buffer_step(buffer.get()));
    const std::size_t samples = step > 0 ? static_cast<std::size_t>(code) / step : 0;
    if (samples == 0) throw LinkLost("an empty reading came");
    take(chunk, samples, step);
  }

  void take(Chunk& chunk, std::size_t samples, std::size_t step) const {
    const std::size_t channels = scanned.size();
    chunk.counts.resize(samples * channels);
    for (std::size_t c = 0; c < channels; ++c) {
      const Scanned& one = scanned[c];
      const auto* at = static_cast<const char*>(iio_buffer_first(buffer.get(), one.channel));
      for (std::size_t i = 0; i < samples; ++i, at += step) {
        const std::int64_t count =
            converted(one.channel, one.bytes, one.lowest < 0, at) - one.lowest;
        if (count < 0 || count >= one.steps)
          throw LinkLost(fmt::format("a count of {} that it cannot give", described.channels[c]));
        chunk.counts[i * channels + c] = static_cast<std::int32_t>(count);
      }
    }
    chunk.time_ns.clear();
    if (timestamp == nullptr) return;
    const auto* at = static_cast<const char*>(iio_buffer_first(buffer.get(), timestamp));
    for (std::size_t i = 0; i < samples; ++i, at += step)
      chunk.time_ns.push_back(converted(timestamp, sizeof(std::int64_t), true, at));
  }

  void set(std::size_t actuator, double value) const {
    if (outputs[actuator] == nullptr) return;  // a person sets it
    const std::int64_t count = bench::count_for(described.outputs[actuator].counts, value);
    const int code = iio_channel_attr_write_longlong(outputs[actuator], "raw", count);
    if (code >= 0) return;
    const std::string what =
        fmt::format("{} is not set to {}", described.outputs[actuator].channel, count);
    const bool refused = code == -EINVAL || code == -ERANGE || code == -EACCES || code == -EPERM;
    if (refused) {
      fault(fmt::format("{}: {}", what, reason(code)),
            "counts_per_unit of the actuator, and who may write to the output");
    }
    lose(what, code);
  }

  const bench::Bench& bench;
  const bench::IioDevice& described;
  std::unique_ptr<iio_context, Destroy> context;
  iio_device* device = nullptr;
  std::vector<Scanned> scanned;       // as the bench has its channels
  std::vector<iio_channel*> outputs;  // as the bench has its actuators
  iio_channel* timestamp = nullptr;   // where gaps are told by time
  std::unique_ptr<iio_buffer, Destroy> buffer;
  std::unique_ptr<Watch> watch;
};

IioStream::IioStream(const bench::Bench& bench, const bench::IioDevice& described) {
  const WithoutPipeSignal quiet;
  converter_ = std::make_unique<Converter>(bench, described);
}

IioStream::~IioStream() {
  const WithoutPipeSignal quiet;
  converter_.reset();
}

void IioStream::read(Chunk& chunk) {
  const WithoutPipeSignal quiet;
  converter_->read(chunk);
}

void IioStream::set(std::size_t actuator, double value) {
  const WithoutPipeSignal quiet;
  converter_->set(actuator, value);
}

}  // namespace windwright::devices
