// SPDX-License-Identifier: Apache-2.0
#include "bench/rotor_file.h"
#include "peak_rate.h"
#include "peer_process.h"
#include "physics/blade_elements.h"
#include "physics/element_solver.h"
#include "physics/rotor.h"
#include "turns.h"

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <numbers>
#include <span>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

// A surface of 51 tip-speed ratios x 41 pitches x 30 elements of the demo rotor on one core: what a
// console redraws while a slider moves. In the same run, turn by turn: the same equations solved by
// bisection in numpy (rotor_surface_peer.py), and the time this core would need for the surface's
// sums and products alone if it did nothing else.
// Limits: 10 ms; numpy at least 12 times as long.
namespace windwright::physics {
namespace {

using benchmarks::median;

constexpr double limit_s = 10e-3;
constexpr double degree = std::numbers::pi / 180.0;
const RotorOptions options{.elements = 30};
const RotorFlow flow{.air_speed_m_s = 8.0,
                     .rotor_speed_rad_s = 0.0,
                     .density_kg_m3 = 1.2,
                     .dynamic_viscosity_Pa_s = 1.8e-5};

Rotor demo_rotor() {
  return bench::rotor_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/rotor.toml");
}
std::vector<double> even(double first, double step, int count) {
  std::vector<double> values;
  for (int i = 0; i < count; ++i)
    values.push_back(first + step * i);
  return values;
}
const std::vector<double> ratios = even(0.5, 0.2, 51);
const std::vector<double> pitches_rad = even(-10.0 * degree, degree, 41);

// The problem as the peer wants it: every element of every point in flat arrays, elements
// outermost.
std::string problem_text(const Rotor& rotor) {
  std::vector<std::pair<std::string, std::vector<double>>> columns{
      {"axial_m_s", {}}, {"turning_m_s", {}},     {"blade_angle_rad", {}}, {"solidity", {}},
      {"tip_ratio", {}}, {"root_ratio", {}},      {"augmentation", {}},    {"reynolds_s_m", {}},
      {"chord_m", {}},   {"torque_weight_m2", {}}};
  const double span_m = rotor.tip_radius_m - rotor.hub_radius_m;
  std::size_t station = 0;
  PolarArrays polar{};
  for (int i = 0; i < options.elements; ++i) {
    const BladeElement e = blade_element(rotor, options, i, station);
    polar = e.inner->arrays();
    for (const double pitch_rad : pitches_rad) {
      for (const double ratio : ratios) {
        const std::array<double, 10> row{
            flow.air_speed_m_s,
            ratio * flow.air_speed_m_s * e.radius_m / rotor.tip_radius_m,
            e.twist_rad + pitch_rad,
            e.solidity,
            e.tip_ratio,
            e.root_ratio,
            e.augmentation,
            flow.density_kg_m3 * e.chord_m / flow.dynamic_viscosity_Pa_s,
            e.chord_m,
            rotor.blades * span_m * e.span_share * e.radius_m};
        for (std::size_t k = 0; k < row.size(); ++k)
          columns[k].second.push_back(row[k]);
      }
    }
  }
  const auto nodes = static_cast<std::size_t>(polar.nodes);
  const auto tables = static_cast<std::size_t>(polar.tables);
  const auto copied = [](const auto* from, std::size_t count) {
    return std::vector<double>(from, from + count);
  };
  const auto bins =
      static_cast<std::size_t>(std::lround(2.0 * std::numbers::pi * polar.bins_per_rad)) + 1;
  columns.emplace_back("alpha_rad", copied(polar.alpha_rad, nodes));
  columns.emplace_back("first", copied(polar.first, bins));
  columns.emplace_back("cl", copied(polar.cl, nodes * tables));
  columns.emplace_back("cd", copied(polar.cd, nodes * tables));
  columns.emplace_back("lift_deficit", copied(polar.lift_deficit, nodes * tables));
  columns.emplace_back("log_reynolds", copied(polar.log_reynolds, tables));
  const double push_W =
      0.5 * flow.density_kg_m3 * swept_area_m2(rotor) * std::pow(flow.air_speed_m_s, 3);
  std::vector<double> per_torque;
  for (const double ratio : ratios)
    per_torque.push_back(ratio * flow.air_speed_m_s / rotor.tip_radius_m / push_W);
  columns.emplace_back("cp_per_torque", per_torque);
  columns.emplace_back("shape", std::vector<double>{static_cast<double>(options.elements),
                                                    static_cast<double>(pitches_rad.size()),
                                                    static_cast<double>(ratios.size())});
  std::string text = fmt::format("{{\"density_kg_m3\": {}, \"bins_per_rad\": {:.17g}",
                                 flow.density_kg_m3, polar.bins_per_rad);
  for (const auto& [name, values] : columns) {
    text += fmt::format(", \"{}\": [", name);
    for (std::size_t i = 0; i < values.size(); ++i)
      text += fmt::format("{}{:.17g}", i == 0 ? "" : ", ", values[i]);
    text += ']';
  }
  return text + "}\n";
}

// The numpy process, spoken to by lines.
class Peer {
 public:
  explicit Peer(const Rotor& rotor)
      : folder_(std::filesystem::temp_directory_path() /
                fmt::format("rotor_surface_{}", static_cast<long>(::getpid()))),
        process_("rotor_surface_peer.py", {written(rotor)}) {}
  Peer(const Peer&) = delete;
  Peer& operator=(const Peer&) = delete;
  ~Peer() { std::filesystem::remove_all(folder_); }

  /// CPU seconds of one solution; below 0: no numpy there.
  double solve() {
    const std::string answer = process_.answer("solve");
    return answer.empty() ? -1.0 : std::stod(answer);
  }
  std::vector<double> cp() {
    const std::string file = folder_ / "cp.json";
    process_.answer("write " + file);
    std::ifstream in(file);
    std::string text((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
    for (char& c : text) {
      if (c == '[' || c == ']' || c == ',') c = ' ';
    }
    std::istringstream numbers(text);
    return {std::istream_iterator<double>(numbers), std::istream_iterator<double>()};
  }

 private:
  std::string written(const Rotor& rotor) const {
    std::filesystem::create_directories(folder_);
    std::ofstream(folder_ / "problem.json") << problem_text(rotor);
    return folder_ / "problem.json";
  }

  std::filesystem::path folder_;
  benchmarks::PeerProcess process_;
};

Peer& peer() {
  static Peer one(demo_rotor());
  return one;
}

// Share of the points where both agree; elsewhere bisection has found another of several balances.
double share_agreeing(const std::vector<RotorLoad>& surface, const std::vector<double>& cp) {
  if (cp.size() != surface.size()) return 0.0;
  std::size_t same = 0;
  for (std::size_t i = 0; i < cp.size(); ++i)
    same += std::abs(cp[i] - surface[i].cp) < 1e-8 * (1.0 + std::abs(cp[i])) ? 1U : 0U;
  return static_cast<double>(same) / static_cast<double>(cp.size());
}

std::vector<double> surface_s;
std::vector<double> numpy_s;

// Sums, differences, products, quotients and roots, one each, counted in lane_balance.h,
// lane_math.h and the secant step (element_solver.cpp); what an element does not need, such as the
// closure's root under light load, left out.
constexpr double per_secant_step = 31        // sine and cosine beyond the scan's node
                                   + 145     // loss factors of tip and root
                                   + 29 + 3  // Reynolds number's logarithm, its place in the tables
                                   + 29      // polar
                                   + 40      // balances, residual, relative speed
                                   + 18;     // secants
constexpr double per_node = 80;  // of a pitch's curve: the same without angle, losses and secants

// Arithmetic of the whole surface; the scan's comparisons and sums over the blade left out.
double operations(const Rotor& rotor) {
  double count = 0.0;
  std::size_t station = 0;
  for (int i = 0; i < options.elements; ++i) {
    const BladeElement element = blade_element(rotor, options, i, station);
    const ElementSetting setting = element_setting(element, options);
    for (const double pitch_rad : pitches_rad) {
      ElementBatch batch;
      batch.count = ratios.size();
      for (std::size_t k = 0; k < ratios.size(); ++k) {
        put(element, pitch_rad, flow, batch, k);
        put_speeds(flow.air_speed_m_s,
                   ratios[k] * flow.air_speed_m_s * element.radius_m / rotor.tip_radius_m, batch,
                   k);
      }
      ElementCurve curve;
      tabulate_losses(batch, 0, curve);
      tabulate(setting, batch, ratios.size() / 2, curve);
      solve_elements(setting, curve, batch);
      count += per_node * static_cast<double>(ElementCurve::most);
      for (std::size_t k = 0; k < ratios.size(); ++k)
        count += per_secant_step * batch.secant_steps[k];
    }
  }
  return count;
}

void surface(benchmark::State& state) {
  const Rotor rotor = demo_rotor();
  const auto good = rotor_surface(rotor, flow, ratios, pitches_rad, options);
  for (const RotorLoad& load : good) {
    if (load.unconverged_elements != 0 || load.largest_residual > 1e-10) {
      state.SkipWithError("an element is out of balance");
      return;
    }
  }
  for (auto _ : state) {
    const auto start = std::clock();
    benchmark::DoNotOptimize(rotor_surface(rotor, flow, ratios, pitches_rad, options));
    surface_s.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    state.SetIterationTime(surface_s.back());
  }
  state.counters["share_of_limit"] = median(surface_s) / limit_s;
}
BENCHMARK(surface)->Unit(benchmark::kMillisecond)->UseManualTime()->Iterations(3)->Repetitions(9);

void numpy(benchmark::State& state) {
  if (peer().solve() < 0.0) {
    state.SkipWithError("python3 with numpy is not there (Debian: python3-numpy)");
    return;
  }
  const auto ours = rotor_surface(demo_rotor(), flow, ratios, pitches_rad, options);
  const double agreeing = share_agreeing(ours, peer().cp());
  if (agreeing < 0.95) {
    state.SkipWithError(fmt::format("agrees at {:.3f} of the points only", agreeing).c_str());
    return;
  }
  for (auto _ : state) {
    numpy_s.push_back(peer().solve());
    state.SetIterationTime(numpy_s.back());
  }
  state.counters["agreeing"] = agreeing;
}
BENCHMARK(numpy)->Unit(benchmark::kMillisecond)->UseManualTime()->Iterations(1)->Repetitions(9);

}  // namespace

void tell_ratios() {
  if (surface_s.empty() || numpy_s.empty()) return;
  fmt::print("surface {:.2f} ms (limit {:.0f} ms); numpy over surface: {:.1f} (at least 12)\n",
             median(surface_s) * 1e3, limit_s * 1e3, median(numpy_s) / median(surface_s));
  const double count = operations(demo_rotor());
  const double rate_per_s = peak_rate_per_s();
  fmt::print(
      "{:.0f} million operations; an ideal machine at this core's {:.1f} thousand million a second "
      "would need {:.2f} ms: {:.0f} % of the surface's time\n",
      count * 1e-6, rate_per_s * 1e-9, count / rate_per_s * 1e3,
      100.0 * count / rate_per_s / median(surface_s));
}

}  // namespace windwright::physics

int main(int argc, char** argv) {
  windwright::benchmarks::run_in_turns(argc, argv);
  windwright::physics::tell_ratios();
  return windwright::benchmarks::peer_missing() ? 1 : 0;
}
