// SPDX-License-Identifier: Apache-2.0
#include "report/html.h"

#include "report/notation.h"

#include <fmt/format.h>

#include <cassert>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::report {

std::string_view style_sheet() {
  return R"css(
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 52rem; padding: 1.5rem 1.25rem 4rem; background: #ffffff;
  color: #23282d; font: 16px/1.5 system-ui, "DejaVu Sans", sans-serif; }
h1 { font-size: 1.5rem; line-height: 1.25; margin: 0 0 .25rem; font-weight: 600; }
h2 { font-size: 1.15rem; line-height: 1.3; margin: 2.5rem 0 .75rem; padding-top: .75rem;
  border-top: 1px solid #c9ced3; font-weight: 600; }
h3 { font-size: 1rem; margin: 1.5rem 0 .5rem; font-weight: 600; }
p { margin: .5rem 0; }
.about, figcaption, .note { color: #565f67; font-size: .875rem; }
.question { font-size: 1.05rem; color: #565f67; margin: 1.5rem 0 .25rem; }
.answer { font-size: 1.4rem; line-height: 1.3; font-weight: 600; margin: .25rem 0 .75rem; }
.notice { border: 2px solid #23282d; border-left-width: 12px; padding: .6rem 1rem; margin: 1rem 0;
  background: #f3f4f5; }
.notice strong { display: block; letter-spacing: .06em; }
.scroll { overflow-x: auto; margin: .75rem 0; }
table { border-collapse: collapse; width: 100%; font-size: .875rem;
  font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: baseline; padding: .3rem .75rem .3rem 0; }
th { font-weight: 600; color: #3d454c; border-bottom: 1px solid #6b747c; vertical-align: bottom; }
td { border-bottom: 1px solid #e4e7ea; }
td.n, th.n { text-align: right; }
td.n, .unit { white-space: nowrap; }
th:last-child, td:last-child { padding-right: 0; }
tr.best td { font-weight: 600; }
td svg { vertical-align: middle; }
sub { font-size: .72em; line-height: 0; vertical-align: -.25em; }
table.points { font-size: .75rem; }
table.points th, table.points td { padding: .15rem .5rem .15rem 0; }
figure { margin: 1rem 0; }
figure svg { display: block; max-width: 100%; height: auto; }
figcaption { margin-top: .35rem; }
table.facts th { font-weight: normal; color: #565f67; border-bottom: 1px solid #e4e7ea;
  vertical-align: baseline; width: 13rem; }
ul { margin: .5rem 0; padding-left: 1.2rem; }
li { margin: .3rem 0; }
.method { font-size: .9rem; }
@media (max-width: 34rem) { .answer { font-size: 1.15rem; } table.facts th { width: 8rem; } }
@page { size: A4; margin: 20mm 18mm 18mm;
  @top-left { content: string(title); font: 8pt "DejaVu Sans", sans-serif; color: #565f67; }
  @top-right { content: string(bench); font: 8pt "DejaVu Sans", sans-serif; color: #565f67; }
  @bottom-right { content: counter(page) " / " counter(pages);
    font: 8pt "DejaVu Sans", sans-serif; color: #565f67; } }
@page :first { @top-left { content: none; } }
@media print {
  body { max-width: none; padding: 0; font: 9pt/1.45 "DejaVu Sans", sans-serif; }
  h1 { string-set: title content(); font-size: 16pt; }
  .bench { string-set: bench content(); }
  h2 { font-size: 12pt; margin: 18pt 0 6pt; padding-top: 6pt; }
  h3 { font-size: 9.5pt; }
  h2, h3, figcaption.above { break-after: avoid; }
  .question { font-size: 10pt; margin-top: 10pt; }
  .answer { font-size: 13pt; }
  .scroll { overflow: visible; }
  table, .method { font-size: 8pt; }
  table.points { font-size: 6.5pt; line-height: 1.2; }
  table.points th, table.points td { padding: .65pt 4pt .65pt 0; }
  .about, figcaption, .note { font-size: 8pt; }
  figure, tr, .notice, li { break-inside: avoid; }
  figure svg { width: 100%; }
  section.page { break-before: page; }
  section.short { break-inside: avoid; }
  table.facts th { width: 42mm; }
}
)css";
}

HtmlTable::HtmlTable(std::vector<Column> columns, std::string kind)
    : columns_(std::move(columns)), kind_(std::move(kind)) {}

void HtmlTable::row(const std::vector<std::string>& cells, bool emphasis) {
  assert(cells.size() == columns_.size());
  body_ += emphasis ? "<tr class=\"best\">" : "<tr>";
  for (std::size_t i = 0; i < cells.size(); ++i) {
    body_ += columns_[i].numeric ? "<td class=\"n\">" : "<td>";
    body_ += cells[i] + "</td>";
  }
  body_ += "</tr>\n";
  ++rows_;
}

std::string HtmlTable::html() const {
  std::string head;
  for (const Column& column : columns_) {
    head += fmt::format("<th scope=\"col\"{}>{}</th>", column.numeric ? " class=\"n\"" : "",
                        column.heading);
  }
  return fmt::format(
      "<div class=\"scroll\"><table{}>\n<thead><tr>{}</tr></thead>\n<tbody>\n{}</tbody></table>"
      "</div>\n",
      kind_.empty() ? "" : " class=\"" + kind_ + '"', head, body_);
}

void FactList::fact(std::string_view name, std::string_view value) {
  if (value.empty()) return;
  body_ +=
      fmt::format("<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n", escaped(name), escaped(value));
}

std::string FactList::html() const {
  return body_.empty() ? "" : "<table class=\"facts\">\n<tbody>\n" + body_ + "</tbody></table>\n";
}

std::string figure(std::string_view pictures, std::string_view caption) {
  if (pictures.empty()) return {};
  return fmt::format("<figure>\n{}<figcaption>{}</figcaption>\n</figure>\n", pictures, caption);
}

std::string section(std::string_view heading, std::string_view content, std::string_view kind) {
  if (content.empty()) return {};
  return fmt::format("<section{}>\n<h2>{}</h2>\n{}</section>\n",
                     kind.empty() ? "" : fmt::format(" class=\"{}\"", kind), heading, content);
}

std::string paragraph(std::string_view html, std::string_view kind) {
  if (kind.empty()) return fmt::format("<p>{}</p>\n", html);
  return fmt::format("<p class=\"{}\">{}</p>\n", kind, html);
}

}  // namespace windwright::report
