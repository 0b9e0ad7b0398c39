// SPDX-License-Identifier: Apache-2.0
#include "bench/blade_products.h"

#include "base/text.h"
#include "physics/blade_design.h"
#include "physics/blade_solid.h"

#include <fmt/format.h>

#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::bench {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr double mm_per_m = 1000.0;
constexpr std::size_t header_bytes = 80;

void put_32(std::string& bytes, std::uint32_t value) {
  for (int byte = 0; byte < 4; ++byte)
    bytes.push_back(static_cast<char>((value >> (8 * byte)) & 0xffU));
}

void put_float(std::string& bytes, double value) {
  put_32(bytes, std::bit_cast<std::uint32_t>(static_cast<float>(value)));
}

std::array<double, 3> normal_of(const physics::BladePoint& a, const physics::BladePoint& b,
                                const physics::BladePoint& c) {
  const std::array<double, 3> u{b.x_m - a.x_m, b.y_m - a.y_m, b.z_m - a.z_m};
  const std::array<double, 3> v{c.x_m - a.x_m, c.y_m - a.y_m, c.z_m - a.z_m};
  std::array<double, 3> normal{u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2],
                               u[0] * v[1] - u[1] * v[0]};
  const double length = std::hypot(normal[0], normal[1], normal[2]);
  if (length > 0.0) {
    for (double& part : normal)
      part /= length;
  }
  return normal;
}

}  // namespace

std::string station_csv(const std::vector<physics::DesignStation>& stations) {
  std::string text =
      "radius_m,local_speed_ratio,chord_m,twist_deg,inflow_angle_deg,angle_of_attack_deg,cl,cd,"
      "reynolds,loss_factor,axial_induction,tangential_induction,blade_loading\n";
  for (const physics::DesignStation& station : stations) {
    const std::array<double, 13> row{station.radius_m,
                                     station.local_speed_ratio,
                                     station.chord_m,
                                     station.twist_rad / degree,
                                     station.inflow_angle_rad / degree,
                                     station.angle_of_attack_rad / degree,
                                     station.cl,
                                     station.cd,
                                     station.reynolds,
                                     station.loss_factor,
                                     station.axial_induction,
                                     station.tangential_induction,
                                     station.blade_loading};
    for (std::size_t i = 0; i < row.size(); ++i)
      text += (i == 0 ? "" : ",") + base::number_text(row[i]);
    text += '\n';
  }
  return text;
}

std::string section_csv(const std::vector<physics::BladePoint>& ring, double radius_m) {
  std::string text = fmt::format(
      "# section at radius {} m, lengths in metres, blade upright and seen from upwind: x in the "
      "rotor plane to the right, y downwind, z outward from the rotor's axis\n"
      "# from the leading edge over the pressure side to the trailing edge and back over the "
      "suction side\nx_m,y_m,z_m\n",
      base::number_text(radius_m));
  const auto put = [&text](const physics::BladePoint& point) {
    text += fmt::format("{:.9g},{:.9g},{:.9g}\n", point.x_m, point.y_m, point.z_m);
  };
  for (const physics::BladePoint& point : ring)
    put(point);
  put(ring.front());
  return text;
}

std::string stl_bytes(const physics::BladeSolid& solid) {
  // Not "solid" first, which would announce the text form.
  std::string bytes = "rotor blade; lengths in millimetres; z from the rotor axis outward";
  bytes.resize(header_bytes, ' ');
  put_32(bytes, static_cast<std::uint32_t>(solid.triangles.size()));
  for (const auto& triangle : solid.triangles) {
    const physics::BladePoint& a = solid.points[triangle[0]];
    const physics::BladePoint& b = solid.points[triangle[1]];
    const physics::BladePoint& c = solid.points[triangle[2]];
    for (const double part : normal_of(a, b, c))
      put_float(bytes, part);
    for (const physics::BladePoint* point : {&a, &b, &c}) {
      put_float(bytes, point->x_m * mm_per_m);
      put_float(bytes, point->y_m * mm_per_m);
      put_float(bytes, point->z_m * mm_per_m);
    }
    bytes.append(2, '\0');
  }
  return bytes;
}

}  // namespace windwright::bench
