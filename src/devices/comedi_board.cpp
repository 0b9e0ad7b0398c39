// SPDX-License-Identifier: Apache-2.0
#include "devices/comedi_board.h"

#include "base/errors.h"
#include "devices/link.h"

#include <comedilib.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

/// What the driver's buffer shall hold, where it lets itself be made so large.
constexpr double buffered_s = 2.0;
constexpr int most_adjustments = 5;  // a driver has five steps at which it corrects a command

[[noreturn]] void lose(const std::string& what) {
  throw LinkLost(fmt::format("{}: {}", what, comedi_strerror(comedi_errno())));
}

// AREF_GROUND and its kin count in the order of the enumeration.
unsigned aref(bench::ComediDevice::Reference reference) {
  static_assert(AREF_GROUND == 0 && AREF_COMMON == 1 && AREF_DIFF == 2 && AREF_OTHER == 3);
  return static_cast<unsigned>(reference);
}

double period_of(const comedi_cmd& command) {
  if (command.scan_begin_src == TRIG_TIMER) return command.scan_begin_arg;
  return static_cast<double>(command.convert_arg) * command.chanlist_len;
}

class Board final : public ComediBoard {
 public:
  explicit Board(std::string file) : file_(std::move(file)) {
    std::error_code hidden;  // where it may not be looked at, opening says why
    if (!std::filesystem::exists(file_, hidden) && !hidden) {
      throw LinkLost(fmt::format(
          "there is no {}; load the board's kernel module, and where it does not find the board by "
          "itself name it with comedi_config",
          file_));
    }
    device_.reset(comedi_open(file_.c_str()));
    if (!device_) {
      throw LinkLost(
          fmt::format("{} cannot be opened ({}); it needs a configured driver, and a "
                      "user who may read and write it",
                      file_, comedi_strerror(comedi_errno())));
    }
  }

  unsigned streaming_subdevice() override {
    const int found = comedi_get_read_subdevice(device_.get());
    if (found >= 0) return static_cast<unsigned>(found);
    throw base::DeviceFault(file_, "the board has no inputs that can be read as a stream",
                            "file in [device]; boards without commands are not supported");
  }
  unsigned channels(unsigned subdevice) override {
    const int count = comedi_get_n_channels(device_.get(), subdevice);
    if (count < 0) lose(fmt::format("subdevice {} tells nothing", subdevice));
    return static_cast<unsigned>(count);
  }
  ComediInput input(unsigned subdevice, unsigned channel) override {
    ComediInput told{.largest_count = comedi_get_maxdata(device_.get(), subdevice, channel),
                     .ranges = {}};
    const int ranges = comedi_get_n_ranges(device_.get(), subdevice, channel);
    for (int i = 0; i < ranges; ++i) {
      const comedi_range* range =
          comedi_get_range(device_.get(), subdevice, channel, static_cast<unsigned>(i));
      constexpr double none = std::numeric_limits<double>::quiet_NaN();
      const bool voltage = range != nullptr && range->unit == UNIT_volt;
      told.ranges.push_back(voltage
                                ? ComediInput::Range{.lower_V = range->min, .upper_V = range->max}
                                : ComediInput::Range{.lower_V = none, .upper_V = none});
    }
    return told;
  }
  std::size_t value_bytes(unsigned subdevice) override {
    const int flags = comedi_get_subdevice_flags(device_.get(), subdevice);
    if (flags < 0) lose(fmt::format("subdevice {} tells nothing", subdevice));
    return (flags & SDF_LSAMPL) != 0 ? sizeof(lsampl_t) : sizeof(sampl_t);
  }

  std::uint32_t start(unsigned subdevice, std::span<const ComediScan> scans,
                      std::uint32_t period_ns) override {
    std::vector<unsigned> list;
    list.reserve(scans.size());
    for (const ComediScan& scan : scans)
      list.push_back(CR_PACK(scan.channel, scan.range, aref(scan.reference)));
    const auto length = static_cast<unsigned>(list.size());
    comedi_cmd command{};
    if (comedi_get_cmd_generic_timed(device_.get(), subdevice, &command, length, period_ns) < 0)
      lose(fmt::format("subdevice {} takes no command by a timer", subdevice));
    command.chanlist = list.data();
    command.chanlist_len = length;
    command.scan_end_arg = length;
    command.start_src = TRIG_NOW;
    command.start_arg = 0;
    command.stop_src = TRIG_NONE;
    command.stop_arg = 0;
    int step = 1;
    for (int i = 0; i < most_adjustments && step != 0; ++i)
      step = comedi_command_test(device_.get(), &command);
    if (step != 0) lose(fmt::format("the driver does not take the list of channels ({})", step));
    const double given_ns = period_of(command);
    const auto period = static_cast<std::uint32_t>(std::min(given_ns, 4294967295.0));
    if (std::abs(given_ns - period_ns) > 1e-3 * period_ns) return period;
    enlarge_buffer(subdevice, length * static_cast<unsigned>(value_bytes(subdevice)), given_ns);
    if (comedi_set_read_subdevice(device_.get(), subdevice) < 0 &&
        comedi_get_read_subdevice(device_.get()) != static_cast<int>(subdevice))
      lose(fmt::format("subdevice {} cannot be read as a stream", subdevice));
    const int number = comedi_fileno(device_.get());
    if (fcntl(number, F_SETFL, fcntl(number, F_GETFL) | O_NONBLOCK) < 0)
      lose("the device file cannot be read without waiting");
    if (comedi_command(device_.get(), &command) < 0) lose("it does not begin to sample");
    return period;
  }

  std::size_t read(std::span<std::byte> bytes, double longest_s) override {
    using Clock = std::chrono::steady_clock;
    const auto until = Clock::now() + std::chrono::duration_cast<Clock::duration>(
                                          std::chrono::duration<double>(longest_s));
    const int number = comedi_fileno(device_.get());
    while (true) {
      const auto left = std::chrono::ceil<std::chrono::milliseconds>(until - Clock::now()).count();
      pollfd waited{.fd = number, .events = POLLIN, .revents = 0};
      if (poll(&waited, 1, static_cast<int>(std::max<std::int64_t>(0, left))) == 0) return 0;
      const auto count = ::read(number, bytes.data(), bytes.size());
      if (count > 0) return static_cast<std::size_t>(count);
      const int code = count < 0 ? errno : 0;
      if (code == 0) throw LinkLost("the board stopped sampling");
      if (code == EPIPE)
        throw LinkLost("samples were lost: the board's or driver's buffer ran over");
      if (code != EAGAIN && code != EINTR)
        throw LinkLost("no samples come: " + std::generic_category().message(code));
      if (left <= 0) return 0;
    }
  }

  void write_analog(const bench::ComediDevice::Output& output, std::uint32_t count) override {
    const unsigned largest = comedi_get_maxdata(device_.get(), output.subdevice, output.channel);
    if (count > largest) {
      throw base::DeviceFault(file_,
                              fmt::format("output {} of subdevice {} takes counts to {}, not {}",
                                          output.channel, output.subdevice, largest, count),
                              "subdevice, channel and counts_per_unit of the actuator");
    }
    if (comedi_data_write(device_.get(), output.subdevice, output.channel, output.range,
                          aref(output.reference), count) < 0)
      lose(fmt::format("output {} of subdevice {} is not set", output.channel, output.subdevice));
  }

  void write_digital(const bench::ComediDevice::Output& output, std::uint32_t bits) override {
    comedi_t* device = device_.get();
    const bool only_out = comedi_get_subdevice_type(device, output.subdevice) == COMEDI_SUBD_DO;
    for (unsigned line = output.channel; !only_out && line < output.channel + output.lines;
         ++line) {
      unsigned direction = COMEDI_INPUT;
      const bool told = comedi_dio_get_config(device, output.subdevice, line, &direction) >= 0;
      if (told && direction == COMEDI_OUTPUT) continue;
      if (comedi_dio_config(device, output.subdevice, line, COMEDI_OUTPUT) < 0)
        lose(fmt::format("line {} of subdevice {} is no output", line, output.subdevice));
    }
    const unsigned mask = (1U << output.lines) - 1U;
    if (comedi_dio_bitfield2(device, output.subdevice, mask, &bits, output.channel) < 0)
      lose(fmt::format("lines of subdevice {} are not set", output.subdevice));
  }

 private:
  struct Close {
    void operator()(comedi_t* device) const { comedi_close(device); }  // also ends a command
  };

  // Where the driver refuses, its own size holds.
  void enlarge_buffer(unsigned subdevice, unsigned sample_bytes, double period_ns) {
    const int most = comedi_get_max_buffer_size(device_.get(), subdevice);
    const int has = comedi_get_buffer_size(device_.get(), subdevice);
    const double wanted = std::min<double>(most, buffered_s * 1e9 / period_ns * sample_bytes);
    if (wanted <= has) return;
    static_cast<void>(
        comedi_set_buffer_size(device_.get(), subdevice, static_cast<unsigned>(wanted)));
  }

  std::string file_;
  std::unique_ptr<comedi_t, Close> device_;
};

}  // namespace

std::unique_ptr<ComediBoard> open_comedi_board(const std::string& file) {
  return std::make_unique<Board>(file);
}

}  // namespace windwright::devices
