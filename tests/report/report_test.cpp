// SPDX-License-Identifier: Apache-2.0
#include "report/report.h"

#include "base/files.h"
#include "report/notation.h"
#include "report/synthetic_results.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::report {
namespace {

Subject subject_of(const campaign::Run& run) {
  return {.title = run.campaign.title, .source = "", .run = &run};
}

std::string page_of_run() {
  const campaign::Run run = synthetic_run();
  return report_html(subject_of(run), synthetic_results());
}

std::string page_of_foreign_points() {
  return report_html({.title = "Rotor measured elsewhere", .source = "table 3 of a paper"},
                     synthetic_foreign_results());
}

bool holds(const std::string& page, const std::string& text) {
  return page.find(text) != std::string::npos;
}

std::size_t count(const std::string& page, const std::string& text) {
  std::size_t found = 0;
  for (auto at = page.find(text); at != std::string::npos; at = page.find(text, at + 1))
    ++found;
  return found;
}

/// Also leaves the page in the build folder, to be looked at.
std::filesystem::path written(const std::string& name, const std::string& page) {
  const std::filesystem::path folder = std::filesystem::path(BUILD_FOLDER) / "report_fixture";
  std::filesystem::create_directories(folder);
  base::write_whole(folder / name, page);
  return folder / name;
}

TEST(Report, ShowsEveryCurvesOptimumAndMaximumInTheSummary) {
  const std::string page = page_of_run();
  const std::string summary = page.substr(0, page.find("Power coefficient against"));
  for (const analysis::Curve& curve : synthetic_results().curves) {
    const std::string cells = fmt::format("<td class=\"n\">{}</td><td class=\"n\">{}</td></tr>",
                                          with_uncertainty(*curve.optimum_tip_speed_ratio),
                                          with_uncertainty(curve.maximum_cp));
    EXPECT_TRUE(holds(summary, cells)) << cells;
  }
  EXPECT_EQ(count(summary, "<tr class=\"best\">"), 1U);
}

TEST(Report, AnswersBeforeItShowsNumbers) {
  const std::string page = page_of_run();
  EXPECT_LT(page.find("within the uncertainty"), page.find("<table"));
  EXPECT_LT(page.find("Two blades or three"), page.find("within the uncertainty"));
}

TEST(Report, HasASectionForEachThingAReaderMustCheck) {
  const std::string page = page_of_run();
  for (const char* heading :
       {"Power coefficient against tip-speed ratio", "Differences between levels",
        "Energy chain at the best test point", "What makes up the uncertainty",
        "How it was measured", "Readiness", "Cautions", "Where these figures come from",
        "Method and sources", "All test points"}) {
    EXPECT_TRUE(holds(page, fmt::format("<h2>{}</h2>", heading))) << heading;
  }
}

TEST(Report, ListsEveryTestPointOnce) {
  const std::string page = page_of_run();
  const std::string appendix = page.substr(page.find("<h2>All test points"));
  for (int number = 1; number <= 64; ++number) {
    EXPECT_EQ(count(appendix, fmt::format("<tr><td class=\"n\">{}</td>", number)), 1U) << number;
  }
}

TEST(Report, SaysLoudlyThatTheBenchWasSimulated) {
  campaign::Run run = synthetic_run();
  EXPECT_TRUE(holds(report_html(subject_of(run), synthetic_results()), "SIMULATED BENCH"));
  run.bench.simulation.reset();
  EXPECT_FALSE(holds(report_html(subject_of(run), synthetic_results()), "SIMULATED"));
}

TEST(Report, SaysThatItWentOnThoughNotReadyAndWhy) {
  campaign::Run run = synthetic_run();
  EXPECT_FALSE(holds(report_html(subject_of(run), synthetic_results()), "NOT READY"));
  run.reason = "certificate renewed <tomorrow>";
  run.readiness.channels[0].passed = false;
  const std::string page = report_html(subject_of(run), synthetic_results());
  EXPECT_TRUE(holds(page, "NOT READY"));
  EXPECT_TRUE(holds(page, "certificate renewed &lt;tomorrow&gt;"));
}

TEST(Report, SaysThatPointsAreMissing) {
  campaign::Run run = synthetic_run();
  EXPECT_FALSE(holds(report_html(subject_of(run), synthetic_results()), "NOT COMPLETE"));
  run.points.pop_back();
  EXPECT_TRUE(
      holds(report_html(subject_of(run), synthetic_results()), "63 of 64 planned test points"));
}

TEST(Report, TellsWhatWentOtherwiseThanPlanned) {
  campaign::Run run = synthetic_run();
  EXPECT_FALSE(holds(report_html(subject_of(run), synthetic_results()), "otherwise than planned"));
  run.incidents.push_back({.time = run.points[5].start, .event = "trip", .text = "rotor > limit"});
  const std::string page = report_html(subject_of(run), synthetic_results());
  EXPECT_TRUE(holds(page, "<td>2026-03-02 09:01:40</td><td>trip</td><td>rotor &gt; limit</td>"));
}

TEST(Report, ShowsEveryRemarkOnceWithChannelsInWords) {
  const campaign::Run run = synthetic_run();
  analysis::Results results = synthetic_results();
  results.remarks.push_back("dc_voltage_V was carried on: points 3, 17.");
  const std::string page = report_html(subject_of(run), results);
  EXPECT_EQ(count(page, results.remarks[0]), 1U);
  EXPECT_EQ(count(page, "<li>DC voltage was carried on: points 3, 17.</li>"), 1U);
  EXPECT_TRUE(holds(page, "<strong>2 remarks</strong>"));
}

TEST(Report, EscapesWhatComesFromFiles) {
  const std::string page = page_of_run();
  EXPECT_TRUE(holds(page, "Blades &amp; pitch &lt;spring term&gt;"));
  EXPECT_FALSE(holds(page, "<spring"));
}

TEST(Report, RefersToNothingOutsideItselfAndRunsNothing) {
  for (const std::string& page : {page_of_run(), page_of_foreign_points()}) {
    for (const char* outside : {"http", "<script", "<link", "<img", "src=", "url(", "@import"}) {
      EXPECT_FALSE(holds(page, outside)) << outside;
    }
  }
}

TEST(Report, DoesNotDependOnWhenOrWhereItIsWritten) {
  EXPECT_EQ(page_of_run(), page_of_run());
  EXPECT_FALSE(holds(page_of_run(), "/somewhere"));
}

TEST(Report, OfForeignPointsClaimsNoUncertaintyAndNoBench) {
  const std::string page = page_of_foreign_points();
  const std::string figures = page.substr(0, page.find("Method and sources"));
  EXPECT_TRUE(holds(figures, "0.2620 (U not stated)"));
  EXPECT_FALSE(holds(figures, "± 0"));
  EXPECT_TRUE(holds(figures, "table 3 of a paper"));
  for (const char* unknown :
       {"<h2>Readiness", "<h2>Energy chain", "<h2>Differences", "SIMULATED"}) {
    EXPECT_FALSE(holds(page, unknown)) << unknown;
  }
}

TEST(Report, MakesAPageOfNothing) {
  const std::string page = report_html({.title = "Empty", .source = ""}, {});
  EXPECT_TRUE(holds(page, "No curve could be made"));
}

// XML is stricter than HTML: what passes here closes every element.
TEST(Report, HasPicturesThatAreWellFormedAndDescribed) {
  for (const auto& [name, page] : {std::pair{"report.html", page_of_run()},
                                   std::pair{"foreign.html", page_of_foreign_points()}}) {
    written(name, page);
    std::string pictures = "<pictures>\n";
    for (auto at = page.find("<svg"); at != std::string::npos; at = page.find("<svg", at + 1)) {
      const std::string picture = page.substr(at, page.find("</svg>", at) + 6 - at);
      EXPECT_TRUE(holds(picture, "role=\"img\" aria-label=\""));
      EXPECT_FALSE(holds(picture, "nan")) << picture;
      EXPECT_FALSE(holds(picture, "inf\"")) << picture;
      pictures += picture + '\n';
    }
    const auto file = written(std::string(name) + ".xml", pictures + "</pictures>\n");
    const std::string command =
        "python3 -c 'import sys, xml.dom.minidom as d; d.parse(sys.argv[1])' " + file.string();
    EXPECT_EQ(std::system(command.c_str()), 0) << file;
  }
}

TEST(Pdf, IsAPdfFileWithSeveralPages) {
  const auto html = written("for_pdf.html", page_of_run());
  auto pdf = html;
  pdf.replace_extension(".pdf");
  std::filesystem::remove(pdf);
  write_pdf(html, pdf);
  ASSERT_TRUE(std::filesystem::exists(pdf));
  EXPECT_GT(std::filesystem::file_size(pdf), 20000U);
  EXPECT_FALSE(std::filesystem::exists(pdf.string() + ".partial"));
}

TEST(Pdf, NamesThePackageWhenTheProgramIsMissing) {
  const std::string path = std::getenv("PATH");
  setenv("PATH", "/nonexistent", 1);
  std::string message;
  try {
    write_pdf("a.html", "a.pdf");
  } catch (const std::runtime_error& error) {
    message = error.what();
  }
  setenv("PATH", path.c_str(), 1);
  EXPECT_TRUE(holds(message, "install the package weasyprint")) << message;
}

TEST(Pdf, LeavesNothingBehindWhenThePageIsMissing) {
  const auto folder = std::filesystem::path(BUILD_FOLDER) / "report_fixture";
  std::filesystem::create_directories(folder);
  EXPECT_THROW(write_pdf(folder / "missing.html", folder / "missing.pdf"), std::runtime_error);
  EXPECT_FALSE(std::filesystem::exists(folder / "missing.pdf"));
}

}  // namespace
}  // namespace windwright::report
