// SPDX-License-Identifier: Apache-2.0
#include "recording/layout.h"

#include "base/errors.h"
#include "recording/piece_sums.h"

#include <fmt/format.h>
#include <hdf5.h>

#include <algorithm>
#include <cassert>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <initializer_list>
#include <ios>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::recording {

namespace {

// The error stack is walked from the outside in, so the last text kept is the cause.
herr_t keep_words(unsigned /*depth*/, const H5E_error2_t* error, void* words) {
  if (error->desc != nullptr) *static_cast<std::string*>(words) = error->desc;
  return 0;
}

std::string last_words() {
  std::string words = "no reason given";
  H5Ewalk2(H5E_DEFAULT, H5E_WALK_DOWNWARD, keep_words, &words);
  return words;
}

// HDF5 has the system's error number in its words only.
int system_error_in(const std::string& words) {
  constexpr std::string_view sign = "errno = ";
  const auto at = words.find(sign);
  return at == std::string::npos ? 0 : std::atoi(words.c_str() + at + sign.size());
}

constexpr std::int64_t most_bits = 32;

constexpr double chunk_s = 0.25;  // about; a flush writes the chunk that is being filled again
constexpr std::int64_t shortest_chunk = 1024;
constexpr std::int64_t longest_chunk = 65536;

// Of a packed stream only whole chunks go to the disk every half second: they have to be short.
constexpr double longest_packed_chunk_s = 0.26;

bool is_full(int number) {
  return number == ENOSPC || number == EDQUOT || number == EFBIG;
}

// One value of a kind that HDF5 turns into what is asked for: more would not fit where it goes.
Handle attribute(hid_t object, const char* name, std::initializer_list<H5T_class_t> kinds,
                 const std::filesystem::path& path) {
  const htri_t there = H5Aexists(object, name);
  require(there, path, "find an attribute");
  if (there == 0) refuse_file(path, fmt::format("has no attribute '{}'", name));
  Handle found = owned(H5Aopen(object, name, H5P_DEFAULT), path, "open an attribute");
  const Handle type = owned(H5Aget_type(found.get()), path, "read an attribute's type");
  const Handle space = owned(H5Aget_space(found.get()), path, "read an attribute's extent");
  const H5T_class_t kind = H5Tget_class(type.get());
  if (std::find(kinds.begin(), kinds.end(), kind) == kinds.end() ||
      H5Sget_simple_extent_npoints(space.get()) != 1) {
    refuse_file(path, fmt::format("attribute '{}' is not one {}", name,
                                  *kinds.begin() == H5T_STRING ? "text" : "number"));
  }
  return found;
}

}  // namespace

std::string text_in(hid_t object, const char* name, const std::filesystem::path& path) {
  const Handle from = attribute(object, name, {H5T_STRING}, path);
  const Handle type = owned(H5Aget_type(from.get()), path, "read an attribute's type");
  if (H5Tis_variable_str(type.get()) > 0)
    refuse_file(path, fmt::format("attribute '{}' is text without a length", name));
  const std::size_t size = H5Tget_size(type.get());
  if (size > std::filesystem::file_size(path))
    refuse_file(path, fmt::format("attribute '{}' is longer than the file", name));
  std::string text(size, '\0');
  require(H5Aread(from.get(), type.get(), text.data()), path, "read an attribute");
  text.resize(std::min(text.find('\0'), text.size()));
  return text;
}

double number_in(hid_t object, const char* name, const std::filesystem::path& path) {
  const Handle from = attribute(object, name, {H5T_FLOAT, H5T_INTEGER}, path);
  double value = 0.0;
  require(H5Aread(from.get(), H5T_NATIVE_DOUBLE, &value), path, "read an attribute");
  if (!std::isfinite(value)) refuse_file(path, fmt::format("attribute '{}' is not finite", name));
  return value;
}

namespace {

std::int64_t integer_in(hid_t object, const char* name, const std::filesystem::path& path) {
  const Handle from = attribute(object, name, {H5T_INTEGER}, path);
  std::int64_t value = 0;
  require(H5Aread(from.get(), H5T_NATIVE_INT64, &value), path, "read an attribute");
  return value;
}

herr_t keep_name(hid_t /*group*/, const char* name, const H5L_info_t* /*info*/, void* names) {
  static_cast<std::vector<std::string>*>(names)->emplace_back(name);
  return 0;
}

}  // namespace

std::vector<std::string> names_in(hid_t group, const std::filesystem::path& path) {
  std::vector<std::string> names;
  require(H5Literate(group, H5_INDEX_CRT_ORDER, H5_ITER_INC, nullptr, keep_name, &names), path,
          "list a group");
  return names;
}

Handle new_group(hid_t file, const std::string& name, const std::filesystem::path& path) {
  const Handle list = owned(H5Pcreate(H5P_GROUP_CREATE), path, "make a group");
  require(H5Pset_link_creation_order(list.get(), H5P_CRT_ORDER_TRACKED | H5P_CRT_ORDER_INDEXED),
          path, "make a group");
  return owned(H5Gcreate2(file, name.c_str(), H5P_DEFAULT, list.get(), H5P_DEFAULT), path,
               "make a group");
}

namespace {

void put(hid_t object, const char* name, hid_t type, const void* value,
         const std::filesystem::path& path) {
  const Handle space = owned(H5Screate(H5S_SCALAR), path, "make an attribute");
  const Handle made = owned(H5Acreate2(object, name, type, space.get(), H5P_DEFAULT, H5P_DEFAULT),
                            path, "make an attribute");
  require(H5Awrite(made.get(), type, value), path, "write an attribute");
}

}  // namespace

void refuse_file(const std::filesystem::path& path, std::string_view wrong) {
  throw base::BadInput(path.string() + ":1", wrong, "a recording as in docs/files.md");
}

void Handle::close() noexcept {
  if (id_ >= 0) H5Idec_ref(id_);
  id_ = H5I_INVALID_HID;
}

void require(std::int64_t answer, const std::filesystem::path& file, std::string_view what) {
  if (answer >= 0) return;
  const std::string words = last_words();
  const int number = system_error_in(words);
  throw base::DiskFault(
      file.string(),
      fmt::format("cannot {} ({})", what, number != 0 ? std::strerror(number) : words),
      is_full(number) ? "make room, or use another disk" : "check the disk and permissions");
}

Handle owned(hid_t id, const std::filesystem::path& file, std::string_view what) {
  require(id, file, what);
  return Handle(id);
}

void silence_hdf5() {
  // Each thread has an error stack of its own.
  // A file left open on purpose stays as it is when the process ends.
  static const bool left_alone = H5dont_atexit() >= 0;
  static_cast<void>(left_alone);
  thread_local const bool silent = H5Eset_auto2(H5E_DEFAULT, nullptr, nullptr) >= 0;
  static_cast<void>(silent);
}

Handle new_dataset(hid_t group, const std::string& name, const Growing& what,
                   const std::filesystem::path& path) {
  std::vector<hsize_t> now = what.chunk;
  std::vector<hsize_t> most = what.chunk;
  now[0] = 0;
  most[0] = H5S_UNLIMITED;
  const int rank = static_cast<int>(what.chunk.size());
  const Handle space =
      owned(H5Screate_simple(rank, now.data(), most.data()), path, "make a dataset");
  const Handle list = owned(H5Pcreate(H5P_DATASET_CREATE), path, "make a dataset");
  require(H5Pset_chunk(list.get(), rank, what.chunk.data()), path, "make a dataset");
  if (what.packed) {
    require(H5Pset_shuffle(list.get()), path, "make a dataset");
    require(H5Pset_deflate(list.get(), 1), path, "make a dataset");
  }
  require(H5Pset_fletcher32(list.get()), path, "make a dataset");
  return owned(
      H5Dcreate2(group, name.c_str(), what.type, space.get(), H5P_DEFAULT, list.get(), H5P_DEFAULT),
      path, "make a dataset");
}

std::optional<bool> is_packed(hid_t dataset, const std::filesystem::path& path) {
  const Handle list = owned(H5Dget_create_plist(dataset), path, "read a dataset's layout");
  std::vector<H5Z_filter_t> filters;
  for (int k = 0; k < H5Pget_nfilters(list.get()); ++k) {
    unsigned flags = 0;
    std::size_t parameters = 0;
    filters.push_back(H5Pget_filter2(list.get(), static_cast<unsigned>(k), &flags, &parameters,
                                     nullptr, 0, nullptr, nullptr));
  }
  if (filters == std::vector{H5Z_FILTER_FLETCHER32}) return false;
  if (filters == std::vector{H5Z_FILTER_SHUFFLE, H5Z_FILTER_DEFLATE, H5Z_FILTER_FLETCHER32})
    return true;
  return std::nullopt;
}

hid_t count_type(int bits) {
  return bits <= 16 ? H5T_STD_U16LE : H5T_STD_I32LE;
}

bool can_be_packed(double sample_rate_hz) {
  return sample_rate_hz * longest_packed_chunk_s >= piece_samples;
}

std::int64_t chunk_samples(double sample_rate_hz, bool packed) {
  std::int64_t samples = packed ? piece_samples : shortest_chunk;
  const double wanted = (packed ? longest_packed_chunk_s / 2 : chunk_s) * sample_rate_hz;
  while (samples < longest_chunk && static_cast<double>(samples) < wanted)
    samples *= 2;
  return samples;
}

hid_t level_type(int bits) {
  return bits <= 24 ? H5T_IEEE_F32LE : H5T_IEEE_F64LE;
}

std::string streams_path(const std::string& device) {
  return "/streams/" + device;
}

std::string gaps_path(const std::string& device) {
  return "/gaps/" + device;
}

std::string clock_path(const std::string& device) {
  return "/clock/" + device;
}

Handle opened_for_reading(const std::filesystem::path& file) {
  silence_hdf5();
  // Metadata that do not agree with their checksum may be met while they are written: HDF5 looks
  // again, and waits twice as long each time. These looks take 16 ms; its usual hundred would take
  // longer than anybody lives with a damaged file.
  constexpr unsigned looks = 24;
  const Handle access = owned(H5Pcreate(H5P_FILE_ACCESS), file, "open a file");
  require(H5Pset_metadata_read_attempts(access.get(), looks), file, "open a file");
  const hid_t id = H5Fopen(file.c_str(), H5F_ACC_RDONLY | H5F_ACC_SWMR_READ, access.get());
  if (id < 0) {
    throw base::BadInput(file.string() + ":1",
                         fmt::format("cannot be opened as a recording ({})", last_words()),
                         "an HDF5 file that windwright recorded");
  }
  return Handle(id);
}

bool is_left_open(const std::filesystem::path& file) {
  constexpr std::streamoff flags_at = 11;
  std::ifstream in(file, std::ios::binary);
  in.seekg(flags_at);
  return in.get() > 0;
}

namespace {

// From the channel's own rate beside that of the recording.
std::int64_t every_in(hid_t stream, double rate_hz, const std::filesystem::path& path) {
  const double every = rate_hz / number_in(stream, "sample_rate_hz", path);
  constexpr double most = 1e9;
  if (every >= 1.0 && every <= most && std::abs(every - std::round(every)) <= 1e-9 * every)
    return std::llround(every);
  refuse_file(path, "has a channel at a rate that does not fit its own");
}

Stream stream_of(hid_t group, const std::string& channel, double rate_hz,
                 const std::filesystem::path& path) {
  const Handle data = owned(H5Dopen2(group, channel.c_str(), H5P_DEFAULT), path, "open a stream");
  const std::int64_t bits = integer_in(data.get(), "bits", path);
  if (bits < 1 || bits > most_bits)
    refuse_file(path, fmt::format("channel '{}' has {} bits", channel, bits));
  Stream stream{.channel = channel,
                .unit = text_in(data.get(), "units", path),
                .long_name = text_in(data.get(), "long_name", path),
                .certificate = text_in(data.get(), "certificate", path),
                .lower_V = number_in(data.get(), "lower_V", path),
                .upper_V = number_in(data.get(), "upper_V", path),
                .bits = static_cast<int>(bits),
                .every = every_in(data.get(), rate_hz, path),
                .packed = is_packed(data.get(), path).value_or(false)};
  if (!(stream.lower_V < stream.upper_V))
    refuse_file(path, fmt::format("channel '{}' has a converter without a range", channel));
  return stream;
}

}  // namespace

Layout layout_of(hid_t file, const std::filesystem::path& path) {
  if (integer_in(file, "schema", path) != 1) refuse_file(path, "has a schema that is not known");
  if (H5Lexists(file, "streams", H5P_DEFAULT) <= 0) refuse_file(path, "has no group 'streams'");
  const Handle all = owned(H5Gopen2(file, "streams", H5P_DEFAULT), path, "open the streams");
  const std::vector<std::string> devices = names_in(all.get(), path);
  if (devices.size() != 1)
    refuse_file(path, fmt::format("has streams of {} devices", devices.size()));
  const Handle group =
      owned(H5Gopen2(all.get(), devices[0].c_str(), H5P_DEFAULT), path, "open a device's streams");
  Layout layout{.source = {.device = devices[0],
                           .start = base::utc_from_text(text_in(group.get(), "start_utc", path),
                                                        path.string() + ":1")},
                .sample_rate_hz = number_in(group.get(), "sample_rate_hz", path),
                .streams = {},
                .derivation = derivation_in(file, path)};
  constexpr double slowest_hz = 1e-6;
  constexpr double fastest_hz = 1e12;
  if (layout.sample_rate_hz < slowest_hz || layout.sample_rate_hz > fastest_hz)
    refuse_file(path, fmt::format("has {:g} samples a second", layout.sample_rate_hz));
  for (const std::string& channel : names_in(group.get(), path))
    layout.streams.push_back(stream_of(group.get(), channel, layout.sample_rate_hz, path));
  if (layout.streams.empty()) refuse_file(path, "has no channel");
  return layout;
}

std::vector<hsize_t> extent_of(hid_t dataset, const std::filesystem::path& path) {
  const Handle space = owned(H5Dget_space(dataset), path, "read a dataset's extent");
  const int rank = H5Sget_simple_extent_ndims(space.get());
  require(rank, path, "read an extent");
  std::vector<hsize_t> extent(static_cast<std::size_t>(rank), 0);
  if (rank > 0)
    require(H5Sget_simple_extent_dims(space.get(), extent.data(), nullptr), path, "read an extent");
  // HDF5 tells without looking how much there should be; a file does not hold more than itself.
  constexpr double most_packed = 1100.0;
  double bytes = 1.0;
  for (const hsize_t each : extent)
    bytes *= static_cast<double>(each);
  if (bytes > most_packed * static_cast<double>(std::filesystem::file_size(path)))
    refuse_file(path, "says that it holds more than there is");
  return extent;
}

std::int64_t length_of(hid_t dataset, const std::filesystem::path& path) {
  const std::vector<hsize_t> extent = extent_of(dataset, path);
  if (extent.empty()) refuse_file(path, "has a dataset without rows");
  return static_cast<std::int64_t>(extent[0]);
}

namespace {

struct Rows {
  std::string name;
  hsize_t columns;
};

// Whole numbers. Unchecked they are read as they are where the checksum is wrong.
std::vector<std::int64_t> rows_in(hid_t file, const Rows& wanted, bool checked,
                                  const std::filesystem::path& path) {
  const auto& [name, columns] = wanted;
  const Handle data = owned(H5Dopen2(file, name.c_str(), H5P_DEFAULT), path, "open " + name);
  const std::vector<hsize_t> extent = extent_of(data.get(), path);
  const Handle type = owned(H5Dget_type(data.get()), path, "read the type of " + name);
  if (extent.size() != 2 || extent[1] != columns || H5Tget_class(type.get()) != H5T_INTEGER)
    refuse_file(path, fmt::format("has '{}' that is not {} whole numbers a row", name, columns));
  std::vector<std::int64_t> rows(columns * static_cast<std::size_t>(extent[0]));
  if (rows.empty()) return rows;
  const Handle how = owned(H5Pcreate(H5P_DATASET_XFER), path, "read " + name);
  if (!checked) require(H5Pset_edc_check(how.get(), H5Z_DISABLE_EDC), path, "read " + name);
  require(H5Dread(data.get(), H5T_NATIVE_INT64, H5S_ALL, H5S_ALL, how.get(), rows.data()), path,
          "read " + name);
  return rows;
}

// Time never steps backwards: a gap cannot end before it began.
bool follows(const Gap& gap, const Gap& last) {
  constexpr std::int64_t most = std::int64_t{1} << 60;
  return gap.before_sample >= last.before_sample && gap.before_sample <= most &&
         gap.device_sample >= last.device_sample && gap.device_sample <= most &&
         gap.device_sample - last.device_sample >= gap.before_sample - last.before_sample;
}

}  // namespace

std::vector<ClockPair> clock_of(hid_t file, const std::string& device,
                                const std::filesystem::path& path) {
  constexpr std::int64_t most = std::int64_t{1} << 62;
  if (H5Lexists(file, "clock", H5P_DEFAULT) <= 0) return {};
  std::vector<std::int64_t> rows;
  try {
    rows = rows_in(file, {.name = clock_path(device), .columns = 3}, true, path);
  } catch (const base::DiskFault&) {
    if (is_left_open(path)) return {};
    throw;
  }
  std::vector<ClockPair> clock;
  for (std::size_t i = 0; i < rows.size(); i += 3) {
    const ClockPair pair{.sample = rows[i],
                         .device_ns = rows[i + 1],
                         .host = base::UtcTime(std::chrono::nanoseconds(rows[i + 2]))};
    const bool follows = clock.empty() ? pair.sample >= 0 && pair.device_ns >= 0
                                       : pair.sample > clock.back().sample &&
                                             pair.device_ns > clock.back().device_ns;
    if (!follows || pair.device_ns > most || std::abs(rows[i + 2]) > most)
      refuse_file(path, fmt::format("has times of sample {} out of order", pair.sample));
    clock.push_back(pair);
  }
  return clock;
}

GapList gaps_of(hid_t file, const std::string& device, const std::filesystem::path& path) {
  const Rows wanted{.name = gaps_path(device), .columns = 2};
  const bool open = is_left_open(path);
  GapList list;
  std::vector<std::int64_t> pairs;
  try {
    pairs = rows_in(file, wanted, true, path);
  } catch (const base::DiskFault&) {
    if (!open) throw;
    list.whole = false;
    pairs = rows_in(file, wanted, false, path);
  }
  Gap last{.before_sample = 0, .device_sample = 0};
  for (std::size_t i = 0; i < pairs.size(); i += 2) {
    const Gap gap{.before_sample = pairs[i], .device_sample = pairs[i + 1]};
    // No gap is before the first sample: a row that was not written yet is of zeros.
    if (open && (!follows(gap, last) || gap.before_sample == 0)) {
      list.whole = false;
      break;
    }
    if (!follows(gap, last)) {
      refuse_file(path, fmt::format("has a gap before sample {} that does not fit the one before",
                                    gap.before_sample));
    }
    list.gaps.push_back(gap);
    last = gap;
  }
  return list;
}

void replace_text(hid_t object, const char* name, const std::string& text,
                  const std::filesystem::path& path) {
  const Handle there = owned(H5Aopen(object, name, H5P_DEFAULT), path, "open an attribute");
  const Handle type = owned(H5Aget_type(there.get()), path, "write an attribute");
  assert(H5Tget_size(type.get()) == text.size() + 1);
  require(H5Awrite(there.get(), type.get(), text.c_str()), path, "write an attribute");
}

void put_text(hid_t object, const char* name, const std::string& text,
              const std::filesystem::path& path) {
  const Handle type = owned(H5Tcopy(H5T_C_S1), path, "make a text type");
  require(H5Tset_size(type.get(), text.size() + 1), path, "make a text type");
  require(H5Tset_cset(type.get(), H5T_CSET_UTF8), path, "make a text type");
  put(object, name, type.get(), text.c_str(), path);
}

void put_number(hid_t object, const char* name, double value, const std::filesystem::path& path) {
  put(object, name, H5T_NATIVE_DOUBLE, &value, path);
}

void put_integer(hid_t object, const char* name, std::int64_t value,
                 const std::filesystem::path& path) {
  put(object, name, H5T_NATIVE_INT64, &value, path);
}

}  // namespace windwright::recording
