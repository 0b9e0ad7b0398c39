// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only: HDF5 handles that close themselves, and the layout that writer
// and reader share.
#pragma once

#include "base/clock.h"
#include "recording/recording.h"

#include <hdf5.h>

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::recording {

/// Owns one HDF5 identifier of any kind.
class Handle {
 public:
  Handle() = default;
  explicit Handle(hid_t id) : id_(id) {}
  Handle(Handle&& other) noexcept : id_(std::exchange(other.id_, H5I_INVALID_HID)) {}
  Handle& operator=(Handle&& other) noexcept {
    std::swap(id_, other.id_);
    return *this;
  }
  ~Handle() { close(); }
  hid_t get() const { return id_; }
  void close() noexcept;

 private:
  hid_t id_ = H5I_INVALID_HID;
};

/// Turns a failed call's answer into base::DiskFault with the system's reason, or HDF5's own
/// innermost words where it is not the system's.
/// @param answer  of an HDF5 call: negative where it failed
/// @param what    was wanted, in words
void require(std::int64_t answer, const std::filesystem::path& file, std::string_view what);
/// The same for calls that give an identifier.
Handle owned(hid_t id, const std::filesystem::path& file, std::string_view what);
/// Keeps HDF5 from printing its error stack on this thread, where failures come as exceptions, and
/// from closing files by itself when the process ends. Before any other call.
void silence_hdf5();

/// What the file says about one channel.
struct Stream {
  std::string channel;
  std::string unit;
  std::string long_name;
  std::string certificate;  // text of the certificate in force; empty where there was none
  double lower_V;
  double upper_V;
  int bits;
  std::int64_t every = 1;  // samples of the recording that one of these stands for
  bool packed = false;     // chunks are shuffled and deflated
};

/// What the file says before its first sample.
struct Layout {
  Source source;
  double sample_rate_hz;
  std::vector<Stream> streams;  // in the order of bench.toml
  Derivation derivation = {};
};

/// A group that lists what it holds in the order in which that was made.
Handle new_group(hid_t file, const std::string& name, const std::filesystem::path& path);

/// A dataset that grows along its first dimension; every chunk carries a Fletcher-32 checksum.
struct Growing {
  hid_t type;
  std::vector<hsize_t> chunk;
  /// Chunks may be shuffled and deflated before their checksum: filters that HDF5 has built in.
  bool packed = false;
};
Handle new_dataset(hid_t group, const std::string& name, const Growing& what,
                   const std::filesystem::path& path);
/// Of a chunk of a packed dataset: shuffle and deflate were left out. HDF5 has a bit for each
/// filter, in their order.
constexpr std::uint32_t left_unpacked = 3;
/// How a dataset's chunks come; nothing: in another way than new_dataset makes them.
std::optional<bool> is_packed(hid_t dataset, const std::filesystem::path& path);
/// Of a channel at this rate.
std::int64_t chunk_samples(double sample_rate_hz, bool packed);
/// Whether it is quick enough: only whole chunks of packed streams go to the disk every half
/// second.
bool can_be_packed(double sample_rate_hz);
/// How counts of a converter are kept: unsigned 16 bits, or signed 32 for more than 16.
hid_t count_type(int bits);
/// How the pyramid's numbers are kept: floating point of 32 bits, which holds every count of 24
/// exactly, or of 64 bits for more.
hid_t level_type(int bits);

std::string streams_path(const std::string& device);
std::string gaps_path(const std::string& device);
std::string clock_path(const std::string& device);

/// Opens for reading whatever state the writer left or keeps the file in.
/// @throws BadInput  cannot be opened as HDF5
Handle opened_for_reading(const std::filesystem::path& file);
/// Whether its writer is at it or was killed: HDF5's file format, version 3 of the superblock,
/// notes that (III.A, file consistency flags).
bool is_left_open(const std::filesystem::path& file);
/// @throws BadInput  always: the file is not a recording of ours
[[noreturn]] void refuse_file(const std::filesystem::path& path, std::string_view wrong);
/// @throws BadInput  not a recording of ours
Layout layout_of(hid_t file, const std::filesystem::path& path);
/// @throws BadInput  more than the file can hold
std::vector<hsize_t> extent_of(hid_t dataset, const std::filesystem::path& path);
/// Of the first dimension.
/// @throws BadInput  as extent_of; no dimension
std::int64_t length_of(hid_t dataset, const std::filesystem::path& path);
struct GapList {
  std::vector<Gap> gaps;
  bool whole = true;  // else the end was torn by the end of its writer, or is being written
};
/// Of a file that is left open what is in order.
/// @throws BadInput  no pairs of samples, or not in the order of time
GapList gaps_of(hid_t file, const std::string& device, const std::filesystem::path& path);

/// Nothing where the file has none, or where its end was torn by the end of its writer.
/// @throws BadInput  no triples of numbers, or not in the order of time
std::vector<ClockPair> clock_of(hid_t file, const std::string& device,
                                const std::filesystem::path& path);

/// Puts another text of the same length in place of one that is there, also beside readers.
void replace_text(hid_t object, const char* name, const std::string& text,
                  const std::filesystem::path& path);
void put_text(hid_t object, const char* name, const std::string& text,
              const std::filesystem::path& path);
/// Attributes, and what a group holds. @throws BadInput  not there, or of another kind
std::string text_in(hid_t object, const char* name, const std::filesystem::path& path);
double number_in(hid_t object, const char* name, const std::filesystem::path& path);
std::vector<std::string> names_in(hid_t group, const std::filesystem::path& path);
/// Nothing is put, and nothing is in the file, where nothing is derived. @throws as above
void put_derivation(hid_t file, const Derivation& derivation, const std::filesystem::path& path);
Derivation derivation_in(hid_t file, const std::filesystem::path& path);
void put_number(hid_t object, const char* name, double value, const std::filesystem::path& path);
void put_integer(hid_t object, const char* name, std::int64_t value,
                 const std::filesystem::path& path);

}  // namespace windwright::recording
