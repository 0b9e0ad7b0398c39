// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "recording/cf_names.h"
#include "recording/clock_watch.h"
#include "recording/dimension.h"
#include "recording/layout.h"
#include "recording/level.h"
#include "recording/new_layout.h"
#include "recording/number_rows.h"
#include "recording/packing.h"
#include "recording/part_file.h"
#include "recording/recording.h"
#include "recording/stream_reader.h"
#include "recording/stream_writer.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <hdf5.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

namespace windwright::recording {
namespace {

constexpr std::size_t index_cache_bytes = std::size_t{1} << 18;
constexpr int kept_bytes = 1 << 14;  // of each kind
constexpr std::int64_t copied_at_once = 1 << 18;

}  // namespace

struct Recorder::File {
  std::filesystem::path path;
  Layout layout;
  Handle file;
  Packer packer;
  std::vector<StreamWriter> streams;  // (channels)
  std::optional<NumberRows> gaps;
  std::optional<NumberRows> clock;
  ClockWatch clock_watch;
  std::int64_t samples = 0;
  std::int64_t flushed = 0;
  std::int64_t next = 0;  // that is to come, by the device's count less `counted_from`
  std::optional<std::int64_t> counted_from;  // the device's count of the recording's first sample
  std::optional<base::DiskFault> abandoned;
  bool may_be_closed = true;
  bool finished = false;
  std::int64_t last_bytes = 0;      // that finishing may still write
  std::int64_t reserved_until = 0;  // there is room for the file up to this length

  /// @param at     where it is made
  /// @param where  it will be in the end, for messages
  File(const std::filesystem::path& at, std::filesystem::path where, Layout what);
  /// @throws as Recorder::create
  static std::unique_ptr<File> create(const std::filesystem::path& file, Layout layout);
  void start_streaming();
  int descriptor() const;
  template <typename Work>
  void write(Work work);
  void abandon();
  void keep_room(std::size_t block_bytes);
  void flush();
  void flush_chunks();
  void sync();
  void finish();
  void append(const Gap& gap);
  void append(const std::optional<ClockPair>& pair);
  void look_at_clock(const bench::SampleBlock& block);
  void begin_at(base::UtcTime start);
  bool follows(const bench::SampleBlock& block);
};

Recorder::File::File(const std::filesystem::path& at, std::filesystem::path where, Layout what)
    : path(std::move(where)), layout(std::move(what)) {
  silence_hdf5();
  const Handle access = owned(H5Pcreate(H5P_FILE_ACCESS), path, "open");
  require(H5Pset_libver_bounds(access.get(), H5F_LIBVER_LATEST, H5F_LIBVER_LATEST), path, "open");
  // HDF5's cache of its own index would grow with the file: memory is to stay flat over days.
  H5AC_cache_config_t cache{};
  cache.version = H5AC__CURR_CACHE_CONFIG_VERSION;
  require(H5Pget_mdc_config(access.get(), &cache), path, "open");
  cache.set_initial_size = true;
  cache.initial_size = cache.min_size = cache.max_size = index_cache_bytes;
  cache.incr_mode = H5C_incr__off;
  cache.flash_incr_mode = H5C_flash_incr__off;
  cache.decr_mode = H5C_decr__off;
  require(H5Pset_mdc_config(access.get(), &cache), path, "open");
  // And so would what it keeps of memory that it has done with.
  require(H5set_free_list_limits(kept_bytes, kept_bytes, kept_bytes, kept_bytes, kept_bytes,
                                 kept_bytes),
          path, "open");
  file = owned(H5Fcreate(at.c_str(), H5F_ACC_EXCL, H5P_DEFAULT, access.get()), path, "make");
  put_integer(file.get(), "schema", 1, path);
  put_text(file.get(), "title", layout.source.device, path);
  put_text(file.get(), "source", "samples of a wind-energy bench, as its converters gave them",
           path);
  put_text(file.get(), "comment",
           "Streams hold raw counts. Attribute 'conversion' of each says how they become values in "
           "'units', with 'certificate', the calibration in force.",
           path);
  std::map<std::int64_t, std::vector<hid_t>> sampled;  // at one rate each
  put_derivation(file.get(), layout.derivation, path);
  const Handle all = new_group(file.get(), "streams", path);
  const Handle group = new_group(file.get(), streams_path(layout.source.device), path);
  const Handle pyramids = new_group(file.get(), "pyramid", path);
  const Handle pyramid = new_group(file.get(), pyramid_path(layout.source.device), path);
  const std::string start = base::utc_text(layout.source.start);
  put_text(group.get(), "start_utc", start, path);
  put_number(group.get(), "sample_rate_hz", layout.sample_rate_hz, path);
  for (const Stream& stream : layout.streams) {
    const Handle levels = new_group(pyramid.get(), stream.channel, path);
    const double rate_hz = layout.sample_rate_hz / static_cast<double>(stream.every);
    streams.emplace_back(
        group.get(), levels.get(), stream,
        StreamWriter::Chunks{.samples = chunk_samples(rate_hz, stream.packed), .packer = &packer},
        path);
    const hid_t data = streams.back().get();
    put_text(data, "units", stream.unit, path);
    put_text(data, "long_name", stream.long_name, path);
    if (const auto standard = cf_standard_name(stream.channel); !standard.empty())
      put_text(data, "standard_name", std::string(standard), path);
    put_number(data, "sample_rate_hz", rate_hz, path);
    put_text(data, "start_utc", start, path);
    if (stream.every > 1) {
      put_text(data, "cell_methods",
               fmt::format("time: mean (of the {} samples until then; the first stands alone)",
                           stream.every),
               path);
    }
    put_number(data, "lower_V", stream.lower_V, path);
    put_number(data, "upper_V", stream.upper_V, path);
    put_integer(data, "bits", stream.bits, path);
    put_text(data, "conversion",
             "volts = lower_V + (counts + 0.5) * (upper_V - lower_V) / 2^bits; the certificate "
             "gives volts = f(value), the value in units",
             path);
    put_text(data, "certificate", stream.certificate, path);
    last_bytes += streams.back().last_bytes();
    sampled[stream.every].push_back(data);
  }
  for (const auto& [every, together] : sampled) {
    const std::string name = every == 1 ? "sample" : fmt::format("sample_{}", every);
    attach(new_dimension(file.get(), name, path).get(), together, path);
  }
  const Handle noted = new_group(file.get(), "gaps", path);
  gaps.emplace(noted.get(), layout.source.device, 2,
               "samples missed: first sample of the recording after the gap, and its number in the "
               "device's own count",
               path);
  const Handle timed = new_group(file.get(), "clock", path);
  clock.emplace(timed.get(), layout.source.device, 3,
                "sample of the recording; its time by the device's count at the nominal rate, ns "
                "since the first sample; the computer's clock when it had come, ns since "
                "1970-01-01T00:00:00Z",
                path);
  last_bytes += 1 << 14;  // that this and the gaps may still need
}

void Recorder::File::start_streaming() {
  require(H5Fstart_swmr_write(file.get()), path, "start writing beside readers");
}

int Recorder::File::descriptor() const {
  void* handle = nullptr;
  require(H5Fget_vfd_handle(file.get(), H5P_DEFAULT, &handle), path, "write");
  return *static_cast<const int*>(handle);
}

// Whatever a failed write leaves is what a killed writer would have left, and is read like that.
template <typename Work>
void Recorder::File::write(Work work) {
  silence_hdf5();
  if (abandoned) throw *abandoned;
  try {
    work();
  } catch (const base::DiskFault& fault) {
    abandoned = fault;
    abandon();
    throw;
  }
}

// HDF5 would write what it still holds when it closes the file, some of it in vain: lengths would
// count samples that are not there. It writes into memory instead, which then goes. Where there is
// a limit to that too, the file is not closed before the process ends.
void Recorder::File::abandon() {
  may_be_closed = false;
  const int sink = memfd_create("abandoned recording", MFD_CLOEXEC);
  if (sink < 0) return;
  constexpr off_t more_than_it_holds = off_t{1} << 30;
  std::error_code unknown;
  const auto size = static_cast<off_t>(std::filesystem::file_size(path, unknown));
  if (!unknown && ftruncate(sink, 2 * size + more_than_it_holds) == 0)
    may_be_closed = dup3(sink, descriptor(), O_CLOEXEC) >= 0;
  close(sink);
}

// Room for the next block and all that ends the file is kept before anything of them is written: a
// full disk then ends the recording with nothing half-written. File systems that cannot keep room
// are found full by a write that fails.
void Recorder::File::keep_room(std::size_t block_bytes) {
  hsize_t length = 0;
  require(H5Fget_filesize(file.get(), &length), path, "look at its size");
  const auto size = static_cast<std::int64_t>(length);
  const std::int64_t wanted = last_bytes + static_cast<std::int64_t>(block_bytes);
  if (size + wanted <= reserved_until) return;
  rlimit limit{};
  getrlimit(RLIMIT_FSIZE, &limit);
  int failure = EFBIG;
  // More than is needed now, so that this is rare.
  for (const std::int64_t room : {2 * wanted, wanted}) {
    if (static_cast<rlim_t>(size + room) > limit.rlim_cur) continue;
    failure = fallocate(descriptor(), FALLOC_FL_KEEP_SIZE, size, room) == 0 ? 0 : errno;
    reserved_until = size + room;
    if (failure != ENOSPC && failure != EDQUOT) break;
  }
  if (failure != ENOSPC && failure != EDQUOT && failure != EFBIG) return;
  reserved_until = 0;
  throw base::DiskFault(path.string(),
                        fmt::format("has no room to go on ({})", std::strerror(failure)),
                        "make room, or use another disk");
}

void Recorder::File::flush() {
  for (StreamWriter& stream : streams)
    stream.flush();
  sync();
  flushed = samples;
}

void Recorder::File::flush_chunks() {
  for (StreamWriter& stream : streams)
    stream.flush_chunks();
  sync();
  flushed = samples;
  for (std::size_t i = 0; i < streams.size(); ++i)
    flushed = std::min(flushed, streams[i].flushed() * layout.streams[i].every);
}

void Recorder::File::sync() {
  require(H5Fflush(file.get(), H5F_SCOPE_GLOBAL), path, "write");
  if (fdatasync(descriptor()) != 0) {
    throw base::DiskFault(path.string(), fmt::format("cannot write ({})", std::strerror(errno)),
                          "check the disk");
  }
}

void Recorder::File::finish() {
  if (std::exchange(finished, true)) return;
  for (StreamWriter& stream : streams)
    stream.finish();
  append(clock_watch.end());
  flush();
  // Gives back the room that was kept.
  if (reserved_until > 0) {
    struct stat now{};
    const int handle = descriptor();
    if (fstat(handle, &now) == 0) static_cast<void>(ftruncate(handle, now.st_size));
    reserved_until = 0;
  }
}

void Recorder::File::append(const Gap& gap) {
  gaps->append(std::array{gap.before_sample, gap.device_sample});
}

void Recorder::File::append(const std::optional<ClockPair>& pair) {
  if (!pair) return;
  const std::int64_t host_ns = pair->host.time_since_epoch().count();
  clock->append(std::array{pair->sample, pair->device_ns, host_ns});
}

// Before its samples count.
void Recorder::File::look_at_clock(const bench::SampleBlock& block) {
  if (!block.received || block.samples == 0) return;
  const auto last = static_cast<std::int64_t>(block.samples) - 1;
  const double device_s = static_cast<double>(next + last) / layout.sample_rate_hz;
  append(clock_watch.see({.sample = samples + last,
                          .device_ns = std::llround(1e9 * device_s),
                          .host = *block.received}));
}

void Recorder::File::begin_at(base::UtcTime start) {
  layout.source.start = start;
  const std::string text = base::utc_text(start);
  const Handle group = owned(
      H5Gopen2(file.get(), streams_path(layout.source.device).c_str(), H5P_DEFAULT), path, "write");
  replace_text(group.get(), "start_utc", text, path);
  for (const StreamWriter& stream : streams)
    replace_text(stream.get(), "start_utc", text, path);
}

// Places the block in the device's count; false where samples are missing before it. A count that
// begins anew, as a real bench's does when it is opened again, goes on by the time that has passed.
bool Recorder::File::follows(const bench::SampleBlock& block) {
  const bool is_first = samples == 0 && !counted_from;
  if (is_first) counted_from = block.first_sample;
  if (!counted_from || block.first_sample - *counted_from < next) {
    const std::chrono::duration<double> passed = block.start - layout.source.start;
    const std::int64_t by_time = std::llround(passed.count() * layout.sample_rate_hz);
    counted_from = block.first_sample - std::max(next, by_time);
  }
  const bool whole = block.first_sample - *counted_from == next && !block.gap_before;
  next = block.first_sample - *counted_from;
  return is_first || whole;
}

Recorder::Recorder(std::unique_ptr<File> file) : file_(std::move(file)) {}
Recorder::Recorder(Recorder&& other) noexcept = default;
Recorder::~Recorder() {
  try {
    if (!file_) return;
    if (!file_->abandoned) finish();
  } catch (const std::exception&) {
    // Whoever wants to know has called finish().
  }
  if (!file_->may_be_closed) static_cast<void>(file_.release());
}

Recorder Recorder::create(const std::filesystem::path& file, const bench::Bench& bench,
                          const Source& source) {
  Layout layout =
      layout_from(bench.sample_rate_hz, channels_of(bench), source, bench.recording.compression);
  layout.derivation = {.list = bench.derived.list, .tip_radius_m = bench.rotor.tip_radius_m};
  return Recorder(File::create(file, std::move(layout)));
}

Recorder Recorder::create(const std::filesystem::path& file, double sample_rate_hz,
                          const std::vector<NewChannel>& channels, const Source& source,
                          bench::Compression compression) {
  return Recorder(File::create(file, layout_from(sample_rate_hz, channels, source, compression)));
}

std::unique_ptr<Recorder::File> Recorder::File::create(const std::filesystem::path& file,
                                                       Layout layout) {
  if (std::filesystem::exists(file)) {
    throw base::BadInput(file.string() + ":1", "exists",
                         "a new file; recordings are never changed");
  }
  PartFile part(file);
  auto made = std::make_unique<File>(part.path(), file, std::move(layout));
  made->start_streaming();
  made->write([&made] { made->flush(); });
  part.become();
  return made;
}

Recorder Recorder::take_up(const std::filesystem::path& file, std::int64_t samples,
                           const std::vector<SlowSum>& slow_sums) {
  PartFile part(file);
  std::unique_ptr<File> made;
  {
    const Recording old(file);
    const Handle source = opened_for_reading(file);
    if (samples < 0 || samples > old.samples()) {
      throw base::BadInput(
          file.string() + ":1",
          fmt::format("holds {} samples, but {} were recorded", old.samples(), samples),
          "the recording as it was left; it has been changed or damaged since");
    }
    made = std::make_unique<File>(part.path(), file, layout_of(source.get(), file));
    // The chunk that was being filled may have been torn while it was written again: what it held
    // before is whole, its checksum is not. The chunks before it were finished and are checked.
    const Handle streams =
        owned(H5Gopen2(source.get(), streams_path(old.device()).c_str(), H5P_DEFAULT), file,
              "open the streams");
    std::vector<std::int32_t> counts(static_cast<std::size_t>(std::min(samples, copied_at_once)));
    for (std::size_t i = 0; i < made->streams.size(); ++i) {
      StreamReader reader(streams.get(), Handle(), made->layout.streams[i], file);
      const std::int64_t kept = reader.kept({.first = 0, .count = samples}).count;
      const std::int64_t finished = kept - kept % reader.chunk_samples();
      for (std::int64_t done = 0; done < kept;) {
        const bool checked = done < finished;
        const std::int64_t count = std::min(copied_at_once, (checked ? finished : kept) - done);
        const auto some = std::span(counts).first(static_cast<std::size_t>(count));
        reader.kept_counts({.first = done, .count = count}, checked, some);
        made->streams[i].keep(some);
        done += count;
      }
      made->streams[i].go_on_at(samples, i < slow_sums.size() ? slow_sums[i] : SlowSum{});
    }
    made->samples = samples;
    made->next = samples;
    for (const Gap& gap : old.gaps()) {
      if (gap.before_sample >= samples) break;
      made->append(gap);
      made->next = gap.device_sample + samples - gap.before_sample;
    }
    for (const ClockPair& pair : old.clock()) {
      if (pair.sample < samples) made->append(pair);
    }
  }
  made->start_streaming();
  made->write([&made] { made->flush(); });
  part.become();
  return Recorder(std::move(made));
}

void Recorder::begin_at(base::UtcTime start) {
  if (file_->samples > 0) throw std::logic_error("a first sample's time after the first sample");
  file_->write([&] { file_->begin_at(start); });
}

void Recorder::append(const bench::SampleBlock& block) {
  if (block.channels != file_->streams.size()) {
    throw std::logic_error(fmt::format("a block of {} channels for a recording of {}",
                                       block.channels, file_->streams.size()));
  }
  if (file_->finished) throw std::logic_error("a block after the end of a recording");
  file_->keep_room(file_->streams.size() * block.samples * sizeof(std::int32_t));
  file_->write([&] {
    if (!file_->follows(block)) {
      file_->append(file_->clock_watch.end());
      file_->append(Gap{.before_sample = file_->samples, .device_sample = file_->next});
      for (StreamWriter& stream : file_->streams)
        stream.leave_gap();
    }
    for (std::size_t i = 0; i < block.channels; ++i)
      file_->streams[i].append(block.channel(i));
    file_->look_at_clock(block);
  });
  file_->samples += static_cast<std::int64_t>(block.samples);
  file_->next += static_cast<std::int64_t>(block.samples);
}

void Recorder::flush() {
  file_->write([this] { file_->flush(); });
}

void Recorder::flush_chunks() {
  file_->write([this] { file_->flush_chunks(); });
}

void Recorder::finish() {
  file_->write([this] { file_->finish(); });
}

const std::filesystem::path& Recorder::file() const {
  return file_->path;
}

std::int64_t Recorder::flushed() const {
  return file_->flushed;
}

std::int64_t Recorder::samples() const {
  return file_->samples;
}

std::vector<SlowSum> Recorder::slow_sums() const {
  std::vector<SlowSum> sums;
  for (const StreamWriter& stream : file_->streams)
    sums.push_back(stream.slow_sum());
  return sums;
}

}  // namespace windwright::recording
