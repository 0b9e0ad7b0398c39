// SPDX-License-Identifier: Apache-2.0
#include "analysis/clock_drift.h"
#include "base/clock.h"
#include "base/text.h"
#include "exchange/output_file.h"
#include "exchange/value_table.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace windwright::exchange {

namespace {

class CsvWriter final : public TableWriter {
 public:
  CsvWriter(const std::filesystem::path& file, const TableHead& head) : file_(file) {
    std::string text = fmt::format(
        "# {}, from {}\n# start_utc: {}\n# sample_rate_hz: {}\n# unit: ", head.title, head.source,
        base::utc_text(head.start), base::number_text(head.sample_rate_hz));
    std::string names;
    for (std::size_t i = 0; i < head.columns.size(); ++i) {
      text +=
          fmt::format("{}{} = {}", i == 0 ? "" : ", ", head.columns[i].name, head.columns[i].unit);
      names += (i == 0 ? "" : ",") + head.columns[i].name;
    }
    text += '\n';
    for (const Column& column : head.columns) {
      if (column.every > 1)
        text += fmt::format("# {}: a value every {} rows, the mean since the one before\n",
                            column.name, column.every);
    }
    if (head.clock)
      text += fmt::format("# clock: {}\n", analysis::words_of(*head.clock, head.sample_rate_hz));
    for (const MissedSamples& gap : head.gaps)
      text += fmt::format("# gap: {} samples are missing before {} s\n", gap.samples,
                          base::number_text(gap.at_s));
    put(text + names + '\n');
  }

  void write(std::span<const std::vector<double>> columns) override {
    std::string text;
    for (std::size_t row = 0; row < columns[0].size(); ++row) {
      for (std::size_t i = 0; i < columns.size(); ++i) {
        if (i > 0) text += ',';
        if (!std::isnan(columns[i][row])) text += base::number_text(columns[i][row]);
      }
      text += '\n';
    }
    put(text);
  }

  void finish() override { file_.finish(); }

 private:
  void put(const std::string& text) {
    file_.write_at(end_, text);
    end_ += static_cast<std::int64_t>(text.size());
  }

  OutputFile file_;
  std::int64_t end_ = 0;
};

}  // namespace

std::unique_ptr<TableWriter> csv_writer(const std::filesystem::path& file, const TableHead& head) {
  return std::make_unique<CsvWriter>(file, head);
}

}  // namespace windwright::exchange
