// SPDX-License-Identifier: Apache-2.0
// The averaged chain of an off-grid shed: rotor, generator and bridge, on/off charge controller,
// battery, lamps and pump, inverter with lamp and heater, in steps of wind with selectors turned.
// Beside it, with every load (LED lamps and an AC fan too) and the dump load, PWM and a tracker.
// Limit: an hour of each in 1.5 s on one core (2,400 times real time). Peer in the same run:
// scipy's solve_ivp on the same equations to the same tolerance (electrical_chain_peer.py), two
// minutes of it; at least 20 times slower. Ends with 1 where a limit is missed, and without a limit
// where its measurement is not there. python3-scipy cannot be installed beside libboost1.81-dev on
// Debian 12, so unpack it: `apt-get download python3-scipy && dpkg -x python3-scipy_*.deb DIR`,
// then PYTHONPATH=DIR/usr/lib/python3/dist-packages.
#include "../tests/twin/chain_example.h"
#include "peer_process.h"
#include "physics/bridge_table.h"
#include "physics/chain_control.h"
#include "physics/electrical_chain.h"
#include "turns.h"
#include "twin/averaged_chain.h"
#include "twin/chain_energy.h"

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <fmt/ranges.h>
#include <unistd.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <string>
#include <variant>
#include <vector>

namespace windwright::twin {
namespace {

constexpr double sample_s = 0.2;
constexpr double hour_s = 3600.0;
constexpr double peer_s = 120.0;
constexpr double least_times_real_time = 2400.0;
constexpr double least_ratio = 20.0;

using benchmarks::median;

struct Variant {
  physics::SourceControl source;
  physics::DumpControl dump;
  bool every_load;  // and a generator that warms; else the peer's: lamps, pump, heater
};
constexpr Variant of_peer{physics::SourceControl::series_on_off, physics::DumpControl::none, false};

AveragedChain chain_at_start(const Variant& variant) {
  AveragedChain chain = shed_chain(variant.source, variant.dump, 0.93, sample_s);
  if (variant.every_load) chain.describe_heat(shed_heat);
  chain.set_rotor_speed(60.0);
  chain.switch_inverter(true);
  chain.turn_dc_selector(1);
  chain.turn_ac_selector(1);
  return chain;
}

// What happens at a sample: winds, and selectors between lamp, pump and heater.
void command(AveragedChain& chain, const Variant& variant, std::int64_t sample) {
  constexpr std::array winds_m_s{9.0, 10.5, 6.5, 8.0, 11.0, 7.5};
  const auto every = [&](double seconds) { return std::llround(seconds / sample_s); };
  if (sample % every(20.0) == 0) {
    const auto i = static_cast<std::size_t>(sample / every(20.0));
    chain.set_wind(winds_m_s[i % winds_m_s.size()]);
  }
  if (sample % every(30.0) == 0) {
    const auto i = static_cast<std::size_t>(sample / every(30.0));
    chain.turn_dc_selector(1 + i % (variant.every_load ? 3 : 2));
    chain.turn_ac_selector(1 + i / 2 % (variant.every_load ? 5 : 2));
  }
}

AveragedChain run(double seconds, const Variant& variant = of_peer) {
  AveragedChain chain = chain_at_start(variant);
  const std::int64_t samples = std::llround(seconds / sample_s);
  for (std::int64_t i = 0; i < samples; ++i) {
    command(chain, variant, i);
    chain.advance(1);
  }
  return chain;
}

std::string text(const physics::Lamp& lamp) {
  return fmt::format(
      R"({{"rated_voltage_V":{},"rated_power_W":{},"rated_temperature_K":{},"heat_capacity_J_K":{}}})",
      lamp.rated_voltage_V, lamp.rated_power_W, lamp.rated_temperature_K, lamp.heat_capacity_J_K);
}

// Switches between two samples, from the state after the sample.
struct Stretch {
  std::array<bool, 4> loads;  // DC lamps, pump, AC lamp, heater
  bool feeding;
  bool running;
  bool starting;
  double wind_m_s;
  double seconds;

  bool goes_on(const Stretch& other) const {
    return loads == other.loads && feeding == other.feeding && running == other.running &&
           starting == other.starting && wind_m_s == other.wind_m_s;
  }
};

std::vector<Stretch> stretches() {
  std::vector<Stretch> all;
  AveragedChain chain = chain_at_start(of_peer);
  const physics::ChainSetup setup =
      shed(physics::SourceControl::series_on_off, physics::DumpControl::none);
  const std::int64_t samples = std::llround(peer_s / sample_s);
  for (std::int64_t i = 0; i < samples; ++i) {
    command(chain, of_peer, i);
    chain.advance(1);
    const physics::ChainControl& control = chain.state().control;
    const physics::Connection dc = control.output.loads_connected
                                       ? physics::connection(setup.dc_selector, control.dc_selector)
                                       : 0U;
    const physics::Connection ac = physics::connection(setup.ac_selector, control.ac_selector);
    const Stretch now{.loads = {(dc & 1U) != 0, (dc & 2U) != 0, (ac & 1U) != 0, (ac & 2U) != 0},
                      .feeding = control.output.source_share > 0.5,
                      .running = control.inverter.mode == physics::InverterMode::running,
                      .starting = control.inverter.mode == physics::InverterMode::starting,
                      .wind_m_s = chain.state().air_speed_m_s,
                      .seconds = sample_s};
    if (!all.empty() && all.back().goes_on(now)) {
      all.back().seconds += sample_s;
    } else {
      all.push_back(now);
    }
  }
  return all;
}

std::string generator_text(const physics::Generator& g) {
  return fmt::format(
      R"({{"pole_pairs":{},"flux_linkage_V_s":{},"winding_resistance_ohm":{},"winding_inductance_H":{},)"
      R"("diode_drop_V":{},"diode_resistance_ohm":{},"bearing_torque_N_m":{},)"
      R"("bearing_viscous_N_m_s":{},"iron_hysteresis_J":{},"iron_eddy_J_s":{}}})",
      g.pole_pairs, g.flux_linkage_V_s, g.winding_resistance_ohm, g.winding_inductance_H,
      g.diode_drop_V, g.diode_resistance_ohm, g.bearing_torque_N_m, g.bearing_viscous_N_m_s,
      g.iron_hysteresis_J, g.iron_eddy_J_s);
}

std::string battery_text(const physics::Battery& b) {
  return fmt::format(
      R"({{"cells":{},"capacity_A_s":{},"reference_time_s":{},"available_share":{},)"
      R"("exchange_rate_s1":{},"exchange_K1":{},"open_circuit_V_K":{},"cell_resistance_ohm":{},)"
      R"("resistance_K1":{},"discharge_polarisation":{},"cell_diffusion_resistance_ohm":{},)"
      R"("diffusion_time_s":{},"charge_polarisation":{},"charge_efficiency":{},)"
      R"("gassing_current_A":{},"gassing_V":{},"gassing_slope_V":{},"gassing_K1":{},)"
      R"("recombination":{},"self_discharge_s1":{},"self_discharge_K1":{},)"
      R"("heat_capacity_J_K":{},"heat_conductance_W_K":{}}})",
      b.cells, b.capacity_A_s, b.reference_time_s, b.available_share, b.exchange_rate_s1,
      b.exchange_K1, b.open_circuit_V_K, b.cell_resistance_ohm, b.resistance_K1,
      b.discharge_polarisation, b.cell_diffusion_resistance_ohm, b.diffusion_time_s,
      b.charge_polarisation, b.charge_efficiency, b.gassing_current_A, b.gassing_V,
      b.gassing_slope_V, b.gassing_K1, b.recombination, b.self_discharge_s1, b.self_discharge_K1,
      b.heat_capacity_J_K, b.heat_conductance_W_K);
}

std::string inverter_text(const physics::Inverter& v) {
  return fmt::format(
      R"({{"output_rms_V":{},"link_ratio":{},"rated_power_VA":{},"no_load_share":{},)"
      R"("proportional_share":{},"quadratic_share":{},"off_power_W":{}}})",
      v.output_rms_V, v.link_ratio, v.rated_power_VA, v.losses.no_load_share,
      v.losses.proportional_share, v.losses.quadratic_share, v.off_power_W);
}

std::string loads_text(const physics::ChainSetup& setup) {
  const auto& pump = std::get<physics::DcMotor>(setup.dc_loads[1].load);
  const auto& heater = std::get<physics::Rheostat>(setup.ac_loads[1].load);
  return fmt::format(
      R"("dc_lamp":{},"lamps":{},"ac_lamp":{},"pump":{{"constant_V_s":{},"winding_ohm":{},)"
      R"("brush_drop_V":{},"inertia_kg_m2":{},"friction_N_m":{},"driven_N_m_s2":{}}},)"
      R"("heater":{{"resistance_ohm":{},"coefficient_K1":{},"rated_power_W":{},)"
      R"("rated_rise_K":{},"heat_capacity_J_K":{}}})",
      text(std::get<physics::Lamp>(setup.dc_loads[0].load)), setup.dc_loads[0].count,
      text(std::get<physics::Lamp>(setup.ac_loads[0].load)), pump.constant_V_s, pump.winding_ohm,
      pump.brush_drop_V, pump.shaft.inertia_kg_m2, pump.shaft.friction_N_m,
      pump.shaft.driven_N_m_s2, heater.resistance_ohm, heater.coefficient_K1, heater.rated_power_W,
      heater.rated_rise_K, heater.heat_capacity_J_K);
}

std::string stretch_text(const Stretch& s) {
  return fmt::format(
      R"({{"loads":[{:d},{:d},{:d},{:d}],"feeding":{:d},"running":{:d},"starting":{:d},)"
      R"("dump_S":0.0,"wind":{},"seconds":{}}})",
      s.loads[0], s.loads[1], s.loads[2], s.loads[3], s.feeding, s.running, s.starting, s.wind_m_s,
      s.seconds);
}

// States in the order of the peer: rotor, battery, DC lamp, pump, AC lamp, heater; then energies.
std::vector<double> result(const AveragedChain& chain) {
  const LongRunState& s = chain.state();
  const ChainEnergies_J& e = s.energies.chain;
  return {s.kinetic_J,
          s.battery.available_A_s,
          s.battery.bound_A_s,
          s.battery.diffusion_V,
          s.battery.temperature_K,
          s.dc_moving[0],
          s.dc_moving[1],
          s.ac_moving[0],
          s.ac_moving[1],
          s.energies.rotor_J,
          e[ChainPart::source],
          e[ChainPart::battery],
          e[ChainPart::dc_loads],
          e[ChainPart::ac_loads]};
}

std::string description() {
  const physics::ChainSetup setup =
      shed(physics::SourceControl::series_on_off, physics::DumpControl::none);
  const physics::Battery& battery = setup.chain.battery;
  const physics::OpenCircuitCurve& curve = battery.open_circuit;
  const physics::BridgeGrid grid = physics::bridge_grid();
  std::vector<double> start = result(chain_at_start(of_peer));
  start.resize(9);
  const double charge_A_s = physics::tanks(battery).charge_A_s;
  const std::vector<double> tolerances{
      1e-8, 1e-11 * charge_A_s, 1e-11 * charge_A_s, 1e-9, 1e-8, 1e-6, 1e-6, 1e-6, 1e-6};
  std::vector<std::string> played;
  for (const Stretch& stretch : stretches())
    played.push_back(stretch_text(stretch));
  const auto list = [](const std::vector<std::vector<double>>& rows) {
    std::vector<std::string> texts;
    for (const std::vector<double>& row : rows)
      texts.push_back(fmt::format("[{}]", fmt::join(row, ",")));
    return fmt::format("[{}]", fmt::join(texts, ","));
  };
  return fmt::format(
      R"({{"generator":{},"battery":{},"open_circuit":{{"level_V":{},"slope_V":{},"knee_V":{},)"
      R"("knee_width":{},"rise_V":{},"rise_width":{}}},"inverter":{},{},"inertia":0.08,)"
      R"("radius_m":0.9,"density":1.2,"room_K":{},"start":[{}],"tolerances":[{}],)"
      R"("relative_tolerance":1e-8,"first_step_s":0.01,"stretches":[{}],"boundary":{},)"
      R"("current":{},"square":{}}})",
      generator_text(setup.chain.generator), battery_text(battery), curve.level_V, curve.slope_V,
      curve.knee_V, curve.knee_width, curve.rise_V, curve.rise_width,
      inverter_text(*setup.chain.inverter), loads_text(setup), example_room_K,
      fmt::join(start, ","), fmt::join(tolerances, ","), fmt::join(played, ","),
      list(grid.boundary), list(grid.current), list(grid.square));
}

// The scipy process and the file that it reads.
class Peer {
 public:
  Peer()
      : folder_(std::filesystem::temp_directory_path() /
                fmt::format("electrical_chain_{}", static_cast<long>(::getpid()))) {
    std::filesystem::create_directories(folder_);
    std::ofstream(folder_ / "chain.json") << description();
    process_ = std::make_unique<benchmarks::PeerProcess>(
        "electrical_chain_peer.py", std::vector<std::string>{folder_ / "chain.json"});
  }
  Peer(const Peer&) = delete;
  Peer& operator=(const Peer&) = delete;
  ~Peer() {
    process_.reset();
    std::filesystem::remove_all(folder_);
  }

  /// CPU seconds of one run and its result; empty: no scipy there.
  std::vector<double> run() { return process_->ask("run"); }

 private:
  std::filesystem::path folder_;
  std::unique_ptr<benchmarks::PeerProcess> process_;
};

Peer& peer() {
  static Peer one;
  return one;
}

std::map<std::string, std::vector<double>> hour_taken_s;
std::vector<double> ours_s;
std::vector<double> scipy_s;

double cpu_s(std::clock_t since) {
  return static_cast<double>(std::clock() - since) / CLOCKS_PER_SEC;
}

// The balance of the bus, over what was turned over.
double unaccounted(const AveragedChain& chain) {
  const ChainEnergies_J& e = chain.state().energies.chain;
  return std::abs(e[ChainPart::charge] + e[ChainPart::battery] + e[ChainPart::mains_output] -
                  e[ChainPart::dump] - e[ChainPart::dc_loads] - e[ChainPart::inverter_input]) /
         chain.state().energies.rotor_J;
}

void an_hour(benchmark::State& state, const std::string& name, const Variant& variant) {
  static_cast<void>(run(1.0));  // the bridge's table is made once
  for (auto _ : state) {
    const std::clock_t start = std::clock();
    const AveragedChain chain = run(hour_s, variant);
    const double taken_s = cpu_s(start);
    hour_taken_s[name].push_back(taken_s);
    state.SetIterationTime(taken_s);
    if (!(unaccounted(chain) < 1e-8)) state.SkipWithError("the energies do not balance");
    state.counters["switchings"] =
        static_cast<double>(chain.state().control.controller.source_switchings);
  }
}
BENCHMARK_CAPTURE(an_hour, on_off, "on/off", of_peer)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(1)
    ->Repetitions(9);
BENCHMARK_CAPTURE(an_hour, pwm_every_load, "PWM, every load, dump",
                  Variant{physics::SourceControl::series_pwm, physics::DumpControl::pwm, true})
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(1)
    ->Repetitions(9);
BENCHMARK_CAPTURE(an_hour, tracker_every_load, "tracker, every load, dump",
                  Variant{physics::SourceControl::tracker, physics::DumpControl::on_off, true})
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(1)
    ->Repetitions(9);

void two_minutes(benchmark::State& state) {
  static_cast<void>(run(1.0));
  for (auto _ : state) {
    const std::clock_t start = std::clock();
    benchmark::DoNotOptimize(run(peer_s).state().kinetic_J);
    ours_s.push_back(cpu_s(start));
    state.SetIterationTime(ours_s.back());
  }
}
BENCHMARK(two_minutes)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(3)
    ->Repetitions(9);

void two_minutes_scipy(benchmark::State& state) {
  for (auto _ : state) {
    const std::vector<double> answer = peer().run();
    if (answer.empty()) {
      state.SkipWithError("python3 with scipy is not there (see the head of this file)");
      return;
    }
    const std::vector<double> ours = result(run(peer_s));
    for (std::size_t i = 0; i < ours.size(); ++i) {
      const double apart = std::abs(answer.at(i + 1) / ours[i] - 1.0);
      if (!(apart < 1e-6)) {
        state.SkipWithError(
            fmt::format("results {} apart at {}: {} and {}", apart, i, ours[i], answer[i + 1])
                .c_str());
        return;
      }
    }
    scipy_s.push_back(answer[0]);
    state.SetIterationTime(scipy_s.back());
  }
}
BENCHMARK(two_minutes_scipy)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(1)
    ->Repetitions(9);

}  // namespace

/// Whether every limit that could be measured holds.
bool tell_ratios() {
  bool holds = true;
  for (const auto& [name, taken_s] : hour_taken_s) {
    const double times = hour_s / median(taken_s);
    holds = holds && times >= least_times_real_time;
    fmt::print("an hour, {}, in {:.2f} s: {:.0f} times real time (at least {:.0f})\n", name,
               median(taken_s), times, least_times_real_time);
  }
  if (ours_s.empty() || scipy_s.empty()) return holds;
  const double ratio = median(scipy_s) / median(ours_s);
  fmt::print("scipy {:.1f} times slower (at least {:.0f})\n", ratio, least_ratio);
  return holds && ratio >= least_ratio;
}

}  // namespace windwright::twin

int main(int argc, char** argv) {
  windwright::benchmarks::run_in_turns(argc, argv);
  return windwright::twin::tell_ratios() && !windwright::benchmarks::peer_missing() ? 0 : 1;
}
