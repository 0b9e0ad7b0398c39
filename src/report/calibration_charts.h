// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/certificate.h"
#include "metrology/control_chart.h"
#include "metrology/diagnostics.h"
#include "metrology/readings.h"

#include <string>

namespace windwright::report {

/// What a calibration's curve leaves of each reading, over the reference, with twice the residual
/// standard deviation; readings reached from below point up, from above down. An SVG document.
std::string residual_chart(const metrology::Certificate& certificate,
                           const metrology::ReadingsFile& file,
                           const metrology::Diagnostics& diagnostics);

/// A check standard over the measurements' order: single values with their limits, the moving
/// average with its own, points out of control ringed. An SVG document.
std::string control_chart_drawing(const metrology::ControlChart& chart, const std::string& unit);

}  // namespace windwright::report
