// SPDX-License-Identifier: Apache-2.0
#include "physics/inverter.h"

#include "physics/inverter_examples.h"
#include "physics/inverter_protection.h"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;

// IEC 60255-149 (IEC 60255-8), cold curve of a thermal relay: t = T ln(I^2 / (I^2 - (k I_B)^2)).
// From memory. At 1.5 times the continuous load with T = 60 s that is 35.27 s.
TEST(Inverter, StopsByOverloadAfterTheTimeOfTheThermalRelay) {
  const Inverter inverter = bench_inverter();
  for (const double x : {1.2, 1.5, 2.0}) {
    InverterState state{.mode = InverterMode::running};
    const InverterInput input{
        .dc_voltage_V = 26.0, .connected_VA = x * 1.05 * 300.0, .switched_on = true};
    double time_s = 0.0;
    while (state.mode == InverterMode::running && time_s < 1e3) {
      state = later(inverter.limits, inverter.rated_power_VA, state, input, 0.01);
      time_s += 0.01;
    }
    EXPECT_EQ(state.cause, StopCause::overload);
    EXPECT_NEAR(time_s, 60.0 * std::log(x * x / (x * x - 1.0)), 0.011) << x;
  }
}

// D. G. Holmes and T. A. Lipo, Pulse Width Modulation for Power Converters (2003), ch. 4 (from
// memory): sidebands of naturally sampled unipolar modulation about the carrier's second multiple
// are (2 V / pi) J_(2n-1)(pi M). Here from the switching instants themselves: a sawtooth-free
// triangular carrier against plus and minus the reference, its line at 2 carrier + frequency taken
// by quadrature.
TEST(Inverter, SwitchingRippleIsTheFirstSidebandGroupBehindTheFilter) {
  const Inverter inverter = bench_inverter();
  const double link_V = 16.0 * 26.0;
  const CarrierRipple ripple = carrier_ripple(inverter, 26.0);
  const double m = std::numbers::sqrt2 * 230.0 / link_V;
  EXPECT_NEAR(ripple.modulation, m, 1e-12);
  EXPECT_EQ(ripple.frequency_Hz, 40e3);
  constexpr int carriers = 400;  // a period
  constexpr int instants = 1 << 21;
  const auto triangle = [](double turns) {
    const double part = turns - std::floor(turns);
    return part < 0.5 ? 4.0 * part - 1.0 : 3.0 - 4.0 * part;
  };
  for (const int side : {1, 3, 5}) {
    std::complex<double> line = 0.0;
    for (int i = 0; i < instants; ++i) {
      const double turns = (i + 0.5) / instants;
      const double carrier = triangle(carriers * turns);
      const double reference = m * std::sin(2.0 * pi * turns);
      const double bridge_V =
          link_V * ((reference > carrier ? 0.5 : -0.5) - (-reference > carrier ? 0.5 : -0.5));
      line += bridge_V * std::polar(2.0 / instants, -2.0 * pi * (2 * carriers + side) * turns);
    }
    const double published_V = 2.0 * link_V / pi * std::abs(std::cyl_bessel_j(side, pi * m));
    EXPECT_NEAR(std::abs(line), published_V, 2e-3 * link_V) << side;
  }
  const double resonance_Hz = 1.0 / (2.0 * pi * std::sqrt(2e-3 * 1e-6));
  EXPECT_NEAR(ripple.amplitude_V, 2.0 * link_V / pi / (std::pow(40e3 / resonance_Hz, 2.0) - 1.0),
              1e-12);
  // And the same group from the header's product: sin(z sin t) has the sine lines 2 J_n(z).
  std::complex<double> third = 0.0;
  for (int i = 0; i < 4096; ++i) {
    const double angle_rad = 2.0 * pi * i / 4096.0;
    third += std::sin(pi * m * std::sin(angle_rad)) * std::polar(2.0 / 4096.0, -3.0 * angle_rad);
  }
  EXPECT_NEAR(std::abs(third), 2.0 * std::abs(std::cyl_bessel_j(3, pi * m)), 1e-12);
}

}  // namespace
}  // namespace windwright::physics
