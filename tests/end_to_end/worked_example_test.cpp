// SPDX-License-Identifier: Apache-2.0
// The worked example of docs/theory/uncertainty.md: the page shows what the program says, and what
// it says follows by hand from the page's own numbers.
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <map>
#include <sstream>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

std::string page() {
  return text_of(fs::path(SOURCE_FOLDER) / "docs/theory/uncertainty.md");
}

// Cells of the table's rows by input: value, u, u in %, power, % of cp, share in %.
std::map<std::string, std::vector<std::string>> table_of_page() {
  std::map<std::string, std::vector<std::string>> rows;
  const std::string text = page();
  std::istringstream in(text.substr(text.find("| input | value | u |")));
  for (std::string line; std::getline(in, line) && line.starts_with('|');) {
    std::vector<std::string> cells;
    std::istringstream row(line.substr(2));
    for (std::string cell; std::getline(row, cell, '|');) {
      const auto last = cell.find_last_not_of(' ');
      const auto first = cell.find_first_not_of(' ');
      if (first != cell.npos) cells.push_back(cell.substr(first, last - first + 1));
    }
    if (cells.size() != 7 || !cells[0].starts_with('`')) continue;
    rows[cells[0].substr(1, cells[0].size() - 2)] = {cells.begin() + 1, cells.end()};
  }
  return rows;
}

// A number as printed stands for whatever rounds to it.
void expect_rounds_to(const std::string& printed, double number) {
  const auto point = printed.find('.');
  const std::size_t decimals = point == printed.npos ? 0 : printed.size() - point - 1;
  EXPECT_NEAR(std::stod(printed), number, 0.501 * std::pow(10.0, -static_cast<double>(decimals)));
}

double number(const json::value& from, const char* name) {
  return from.at(name).to_number<double>();
}

json::value cp_of_program() {
  const Ended ended =
      windwright({"propagate", SOURCE_FOLDER "/examples/saltmarsh-college/budget.toml", "--json"},
                 scratch_folder("worked-example"));
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  return base::json_from_text(ended.out, "stdout").at_pointer("/outputs/cp");
}

TEST(WorkedExample, TableShowsTheProgramsNumbers) {
  const auto rows = table_of_page();
  ASSERT_EQ(rows.size(), 10U);
  const json::value cp = cp_of_program();
  const double value = number(cp.at("first_order"), "value");
  const json::array& budget = cp.at("budget").as_array();
  ASSERT_EQ(budget.size(), rows.size());
  for (const json::value& line : budget) {
    const std::string input(line.at("input").as_string());
    SCOPED_TRACE(input);
    ASSERT_TRUE(rows.contains(input));
    const std::vector<std::string>& row = rows.at(input);
    const double u = number(line, "u");
    const double power = number(line, "sensitivity") * number(line, "value") / value;
    expect_rounds_to(row[0], number(line, "value"));
    expect_rounds_to(row[1], u);
    expect_rounds_to(row[2], 100.0 * u / number(line, "value"));
    expect_rounds_to(row[3], power);
    expect_rounds_to(row[4], 100.0 * number(line, "contribution") / value);
    expect_rounds_to(row[5], number(line, "share_pct"));
  }
}

TEST(WorkedExample, TextShowsTheProgramsNumbers) {
  const json::value cp = cp_of_program();
  const json::value& first = cp.at("first_order");
  const json::value& trials = cp.at("monte_carlo");
  const auto says = [text = page()](const std::string& words) {
    EXPECT_NE(text.find(words), text.npos) << words;
  };
  const double value = number(first, "value");
  const double u = number(first, "u");
  says(fmt::format("cp = {:.4f}, u = {:.4f}, or {:.2f} %", value, u, 100.0 * u / value));
  const auto ends = [](const json::value& interval) {
    return fmt::format("{:.4f} to {:.4f}", interval.at(0).to_number<double>(),
                       interval.at(1).to_number<double>());
  };
  const auto width = [](const json::value& interval) {
    return interval.at(1).to_number<double>() - interval.at(0).to_number<double>();
  };
  const json::value& of_trials = trials.at("interval_95_symmetric");
  const json::value& of_first = first.at("interval_95");
  says(fmt::format(
      "The Monte Carlo interval, {}, is {:.0f} % narrower than\nfirst order's {}:", ends(of_trials),
      100.0 * (1.0 - width(of_trials) / width(of_first)), ends(of_first)));
  double gusts = 0.0;
  double alone = 0.0;
  for (const json::value& line : cp.at("budget").as_array()) {
    const std::string input(line.at("input").as_string());
    if (input != "U" && input != "I" && input != "dp") continue;
    gusts += number(line, "share_pct") / 100.0;
    alone += std::pow(number(line, "contribution") / u, 2);
  }
  says(
      fmt::format("together they bring {:.0f} % of the variance where uncorrelated\nthey would "
                  "bring {:.0f} %",
                  100.0 * gusts, 100.0 * alone / (1.0 - gusts + alone)));
  EXPECT_FALSE(cp.at("first_order_validated").as_bool());
}

// By hand from the printed columns: powers of the equation, half-widths after JCGM 101:2008,
// Table 1, U over k, and JCGM 100:2008, 5.2.2, with the budget's correlation coefficients.
TEST(WorkedExample, NumbersFollowByHand) {
  const auto rows = table_of_page();
  const std::map<std::string, double> powers{
      {"pitot_factor", -1.5}, {"dp", -1.5},          {"U", 1.0}, {"I", 1.0},
      {"voltage_gain", 1.0},  {"current_gain", 1.0}, {"R", -2.0}};
  for (const auto& [input, power] : powers)
    expect_rounds_to(rows.at(input)[3], power);
  const auto u_pct = [](double u, double value) { return 100.0 * u / value; };
  expect_rounds_to(rows.at("pitot_factor")[2], u_pct(0.01 / std::sqrt(3.0), 1.0));
  expect_rounds_to(rows.at("R")[2], u_pct(0.0005 / std::sqrt(6.0), 0.25));
  expect_rounds_to(rows.at("temperature")[1], 0.4 / std::sqrt(3.0));
  expect_rounds_to(rows.at("humidity")[1], 4.0 / std::sqrt(3.0));
  expect_rounds_to(rows.at("voltage_gain")[1], 0.0050 / 2.0);
  expect_rounds_to(rows.at("current_gain")[1], 0.0060 / 2.0);
  std::map<std::string, double> part_pct;
  double variance = 0.0;
  for (const auto& [input, row] : rows) {
    const double part = std::stod(row[2]) * std::stod(row[3]);
    EXPECT_NEAR(std::abs(part), std::stod(row[4]), 0.003 * std::stod(row[4]) + 0.003) << input;
    part_pct[input] = std::copysign(std::stod(row[4]), part);
    variance += part_pct[input] * part_pct[input];
  }
  const auto both = [&](const char* a, const char* b, double r) {
    variance += 2.0 * r * part_pct.at(a) * part_pct.at(b);
  };
  both("U", "I", 0.85);
  both("U", "dp", 0.6);
  both("I", "dp", 0.55);
  both("voltage_gain", "current_gain", 0.5);
  EXPECT_NEAR(std::sqrt(variance), 1.07, 0.005);
  EXPECT_NEAR(100.0 * std::pow(part_pct.at("pitot_factor"), 2) / variance,
              std::stod(rows.at("pitot_factor")[5]), 0.15);
}

}  // namespace
}  // namespace windwright::end_to_end
