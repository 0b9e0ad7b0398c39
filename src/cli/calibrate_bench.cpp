// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/units.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/field_adjustment.h"
#include "campaign/logbook.h"
#include "campaign/readiness.h"
#include "campaign/run_folder.h"
#include "cli/ask_person.h"
#include "cli/calibrate_jobs.h"
#include "cli/verbs.h"
#include "devices/open_device.h"
#include "metrology/certificate.h"
#include "metrology/readings.h"
#include "twin/simulated_bench.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <unistd.h>

#include <cstddef>
#include <cstdio>
#include <filesystem>
#include <numeric>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

// Readings and certificate of one channel, before anything is written.
struct Calibrated {
  std::filesystem::path readings_file;
  std::string readings_text;
  std::filesystem::path certificate_file;
  metrology::Certificate certificate;
};

Calibrated calibrate_on_bench(const bench::Bench& bench, std::size_t index, bench::Device& device) {
  std::vector<campaign::Reading> readings;
  const bench::Channel& channel = bench.channels[index];
  Calibrated result{
      .readings_file = bench.file.parent_path() / "readings" / (channel.name + ".csv"),
      .readings_text = {},
      .certificate_file = channel.certificate,
      .certificate = campaign::calibrate_channel(bench, index, device, readings)};
  metrology::ReadingsFile file{.readings = {},
                               .repeat = {},
                               .reference_unit = channel.unit,
                               .reading_unit = "V",
                               .where = {},
                               .unit_where = {}};
  for (const campaign::Reading& reading : readings) {
    file.readings.reference.push_back(reading.reference);
    file.readings.reading.push_back(reading.reading_V);
    file.readings.u_reading.push_back(reading.u_reading_V);
    file.repeat.push_back(reading.repeat);
  }
  const metrology::Certificate& certificate = result.certificate;
  result.readings_text = metrology::readings_csv(
      file, {fmt::format("{}, {}, {}", bench.name, device.name(), channel.long_name),
             fmt::format("{}, reference standard: {}", base::utc_text(certificate.date),
                         certificate.standard.name),
             "odd repeats go up, even ones down"});
  return result;
}

void print_bench(const std::vector<Calibrated>& all) {
  fmt::print("{:<20} {:<13} {:>22} {:>28}  {}\n", "channel", "model", "residual sd",
             "largest expanded (95 %)", "valid until");
  bool any = false;
  for (const auto& [readings_file, text, file, certificate] : all) {
    fmt::print("{:<20} {:<13} {:>22} {:>28}  {}{}\n", certificate.channel, certificate.model,
               fmt::format("{:.3g}{}", certificate.fit.residual_standard_deviation,
                           base::spoken_unit(certificate.reading_unit)),
               fmt::format("{:.3g}{}", metrology::largest_uncertainty(certificate).expanded,
                           base::spoken_unit(certificate.reference_unit)),
               base::utc_text(certificate.valid_until).substr(0, 10),
               metrology::lack_of_fit_is_significant(certificate.fit) ? " *" : "");
    any |= metrology::lack_of_fit_is_significant(certificate.fit);
  }
  if (any) {
    fmt::print(
        "* the curve misses the readings by more than their scatter explains (chi-squared, 95 %); "
        "the lack of fit is in the expanded uncertainty\n");
  }
}

// What was done to the sensor, for whoever reads the bench's logbook later.
void note_adjustment(const bench::Bench& bench, const bench::Channel& channel,
                     const metrology::Certificate& certificate) {
  const boost::json::value whole = metrology::to_json(certificate);
  boost::json::object members = whole.at("field_adjustment").as_object();
  members.erase("date");
  members["channel"] = channel.name;
  members["unit"] = channel.unit;
  members["certificate"] = channel.certificate.filename().string();
  campaign::Logbook(bench.file.parent_path() / campaign::logbook_file)
      .add(certificate.adjustment->date, "adjustment", members);
}

void print_adjusted(const bench::Channel& channel, const metrology::Certificate& certificate) {
  for (const metrology::FieldPoint& point : certificate.adjustment->points) {
    fmt::print("at {:.6g}{}: as found {:.6g}, as left {:.6g}\n", point.reference,
               base::spoken_unit(channel.unit), point.as_found.value_or(point.reference),
               point.as_left.value_or(point.reference));
  }
  const auto [gain, offset] = metrology::field_gain(certificate);
  fmt::print("gain {:.6g}, offset {:.4g}{}: written to {}, noted in {}\n", gain, offset,
             base::spoken_unit(channel.unit), channel.certificate.filename().string(),
             campaign::logbook_file);
}

// Raw voltage and values side by side while a person stands at the sensor.
int adjust_on_bench(const CalibrateOptions& options, const bench::Bench& bench,
                    bench::Device& device) {
  if (options.channel.empty() || options.field_references.size() != 2) {
    throw base::BadInput("--field-reference", "wants one channel and two known inputs",
                         "--channel NAME --field-reference LOW --field-reference HIGH");
  }
  require_not_negative(options.u_field, "--u-field");
  const std::size_t index = bench.channel_index(options.channel);
  const bench::Channel& channel = bench.channels[index];
  if (!options.json) {
    fmt::print("{:<12} {:>14} {:>12} {:>16} {:>16}\n", "time",
               base::with_unit("known", channel.unit), "raw, V",
               base::with_unit("before", channel.unit), base::with_unit("adjusted", channel.unit));
  }
  const auto show = [&options](const campaign::LiveReading& reading) {
    if (options.json) return;
    fmt::print("{:<12} {:>14.6g} {:>12.6f} {:>16.6g} {:>16.6g}\n",
               base::utc_text(reading.time).substr(11, 12), reading.reference, reading.reading_V,
               reading.value, reading.adjusted);
    std::fflush(stdout);
  };
  const metrology::Certificate certificate = campaign::adjust_in_field(
      bench, index, device,
      {campaign::FieldReference{options.field_references[0], options.u_field},
       campaign::FieldReference{options.field_references[1], options.u_field}},
      show);
  device.stop();
  const std::string text = base::json_text(metrology::to_json(certificate));
  base::write_whole(channel.certificate, text);
  note_adjustment(bench, channel, certificate);
  if (options.json) {
    fmt::print("{}", text);
  } else {
    print_adjusted(channel, certificate);
  }
  return done;
}

}  // namespace

int calibrate_bench(const CalibrateOptions& options) {
  for (const auto& [option, given] :
       {std::pair("--model", !options.model.empty()), std::pair("--out", !options.out.empty()),
        std::pair("--date", !options.date.empty())}) {
    if (given) throw base::BadInput(option, "goes with readings", "the bench file says it");
  }
  const bench::Bench bench = bench::bench_from_file(options.bench);
  // Somebody who watches an adjustment sees it at the pace of a bench.
  const bool live =
      !options.field_references.empty() && !options.json && isatty(STDOUT_FILENO) == 1;
  const auto device = devices::open_device(
      bench, live ? twin::Pace::real_time : twin::Pace::as_fast_as_possible, ask_person);
  if (!options.field_references.empty()) return adjust_on_bench(options, bench, *device);
  std::vector<std::size_t> chosen(bench.channels.size());
  std::iota(chosen.begin(), chosen.end(), std::size_t{0});
  if (!options.channel.empty()) chosen = {bench.channel_index(options.channel)};
  std::vector<Calibrated> all;
  for (const std::size_t index : chosen)
    all.push_back(calibrate_on_bench(bench, index, *device));
  device->stop();
  boost::json::array certificates;
  for (const Calibrated& one : all) {
    certificates.push_back(metrology::to_json(one.certificate));
    std::filesystem::create_directories(one.readings_file.parent_path());
    std::filesystem::create_directories(one.certificate_file.parent_path());
    base::write_whole(one.readings_file, one.readings_text);
    base::write_whole(one.certificate_file, base::json_text(certificates.back()));
  }
  if (options.json) {
    fmt::print("{}", base::json_text(boost::json::object{{"certificates", certificates}}));
  } else {
    print_bench(all);
  }
  return done;
}

}  // namespace windwright::cli
