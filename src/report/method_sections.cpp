// SPDX-License-Identifier: Apache-2.0
#include "report/html.h"
#include "report/notation.h"
#include "report/sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <string_view>

namespace windwright::report {

std::string cautions(bool simulated) {
  std::string html = "<ul>\n";
  const auto item = [&html](std::string_view text) { html += fmt::format("<li>{}</li>\n", text); };
  item(
      "<strong>Rotating blades.</strong> A small rotor turns faster than the eye follows and a "
      "blade that lets go flies far: guard in place, nobody in the plane of the rotor, no change "
      "of blades or pitch before the rotor stands and cannot start.");
  item(
      "<strong>Stored charge and batteries.</strong> Capacitors and batteries stay live after the "
      "bench stops, and batteries give off hydrogen: wait, measure, ventilate.");
  item(
      "<strong>Open circuit.</strong> Without its load the rotor speeds up and the voltage rises: "
      "never unplug the load of a turning rotor.");
  item(
      "<strong>Software is one layer of several.</strong> The hard-wired emergency stop, fuses and "
      "mechanical guards come last and do not depend on this program.");
  item("Local codes and the decisions of qualified persons stand above anything in this report.");
  html += "</ul>\n";
  if (simulated) {
    html = paragraph("Nothing turned for this report. Before the same campaign runs on hardware:") +
           html;
  }
  return section("Cautions", html, "short");
}

std::string method(const Subject& subject, const analysis::Results& results) {
  std::string html = "<ul class=\"method\">\n";
  const auto item = [&html](std::string_view text) { html += fmt::format("<li>{}</li>\n", text); };
  const bool theory = std::any_of(results.curves.begin(), results.curves.end(),
                                  [](const auto& curve) { return !curve.theory.empty(); });
  const bool fit = std::any_of(results.curves.begin(), results.curves.end(),
                               [](const auto& curve) { return !curve.fit.empty(); });
  item(
      "<strong>Definitions.</strong> Tip-speed ratio: rotor speed × tip radius / air speed. Power "
      "coefficient C<sub>p</sub>: power / (½ × air density × swept area × air speed³); electrical "
      "at the DC terminals, shaft at the generator's shaft. Powers are means of products of "
      "samples, the wind's power uses the mean of the cube.");
  item(
      "<strong>Air density</strong>, where it was not given, from temperature, pressure and "
      "humidity by the CIPM-2007 equation (Picard, Davis, Gläser, Fujii, Metrologia 45 (2008) "
      "149–155).");
  item(
      "<strong>Uncertainty</strong> by the law of propagation, correlated inputs kept by name "
      "(JCGM 100:2008, the GUM, 5.1 and 5.2). U is u times Student’s t for 95 % with the effective "
      "degrees of freedom of Welch and Satterthwaite (GUM G.4). Numbers are rounded to the second "
      "significant digit of U (GUM 7.2.6). Where a source states no uncertainty, none is made up.");
  if (fit) {
    item(
        "<strong>Fit.</strong> Power coefficient as a cubic or quartic in tip-speed ratio (a "
        "parabola of very few points), chosen by the corrected Akaike criterion, by weighted least "
        "squares; its highest point inside the measured range is the optimum.");
  }
  if (theory) {
    item(
        "<strong>Theory.</strong> Blade-element momentum theory with tip and root loss (Glauert, "
        "Airplane Propellers, in Durand (ed.), Aerodynamic Theory IV (1935), with Prandtl’s "
        "factor), on the rotor’s own geometry and polars; electrical curves carry the described "
        "generator’s losses.");
  }
  if (results.section) {
    item(
        "<strong>Walls.</strong> Corrected to open air by momentum theory of a disc in a confined "
        "stream (Glauert, The Elements of Aerofoil and Airscrew Theory, 2nd ed. (1947); Mikkelsen "
        "and Sørensen, Global Windpower Conference, Paris 2002): the open-air speed at which the "
        "same rotor has the same thrust and the same flow through its disc. The most power in the "
        "section is 16/27 / (1 − blockage)² (Garrett and Cummins, J. Fluid Mech. 588 (2007) "
        "243–251). Standard uncertainty of the correction: a quarter of it, half of it beyond an "
        "axial induction of 0.4.");
  }
  if (results.verdict) {
    item(
        "<strong>Comparison.</strong> A difference is significant when it exceeds its expanded "
        "uncertainty, with Student’s t at a level divided by the number of pairs (Bonferroni; "
        "Dunn, J. Am. Stat. Assoc. 56 (1961) 52–64). Inputs that both levels share cancel.");
  }
  if (subject.run != nullptr) {
    item(
        "<strong>Check standards.</strong> E<sub>n</sub> is the difference over the root sum of "
        "squares of both expanded uncertainties, 95 % by Student’s t (ISO/IEC 17043:2010, "
        "B.3.1.3 e).");
  }
  html += "</ul>\n";
  return section("Method and sources", html);
}

}  // namespace windwright::report
