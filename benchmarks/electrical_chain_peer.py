#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The averaged electrical chain of electrical_chain_benchmark once more, with scipy's solve_ivp.

Reads a JSON file with all parameters, the start and the stretches between switchings (the decisions of controller
and protection are played back, so that only the integration is compared). For every line on standard input it
integrates them and answers with the CPU seconds taken, states and energies. Plain floats inside the rates: numpy's
arrays of one element would be several times slower.
"""

import json
import math
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

SQRT3 = math.sqrt(3.0)
REFERENCE_K = 298.15
PULSE_REACTIVE = 3.0 / math.pi * 0.5 * SQRT3 * 4.5
BALANCE = PULSE_REACTIVE / (3.0 / math.pi * 0.5 * SQRT3 * 4.0 * math.sqrt(2.0) / 3.0)
CELLS_C, WIDTH = 64, 67
ROWS = (48, 32, 64, 64)


def cubic(t):
    t2, t3 = t * t, t * t * t
    return ((0.5 * (-t3 + 2.0 * t2 - t), 0.5 * (3.0 * t3 - 5.0 * t2 + 2.0), 0.5 * (-3.0 * t3 + 4.0 * t2 + t),
             0.5 * (t3 - t2)),
            (0.5 * (-3.0 * t2 + 4.0 * t - 1.0), 0.5 * (9.0 * t2 - 10.0 * t), 0.5 * (-9.0 * t2 + 8.0 * t + 1.0),
             0.5 * (3.0 * t2 - 2.0 * t)))


def tungsten(kelvin):
    y = math.log(min(max(kelvin, 200.0), 3695.0) / 300.0)
    total = 0.0
    for c in (-0.01403119, 0.10719503, -0.29432621, 0.34441630, -0.16612446, 1.25657635, 0.00020641):
        total = total * y + c
    return math.exp(total)


class Chain:
    def __init__(self, given):
        self.__dict__.update(given)
        b = self.battery
        x = b["exchange_rate_s1"] * b["reference_time_s"]
        lag = x + math.expm1(-x)
        share = b["available_share"] * x / (-math.expm1(-x) + b["available_share"] * lag)
        self.charge = b["capacity_A_s"] / share
        for lamp in [self.dc_lamp, self.ac_lamp]:
            lamp["rated_ohm"] = lamp["rated_voltage_V"]**2 / lamp["rated_power_W"]
            lamp["rated_ratio"] = tungsten(lamp["rated_temperature_K"])
        self.near = 0.0

    # Generator and bridge.

    def bridge(self, u, r, x):
        s = math.sqrt(1.0 - max(0.0, u))
        opposing = x + BALANCE * r * s
        c = min(max(x / opposing, 0.0), 1.0)
        j = min(int(c * CELLS_C), CELLS_C - 1)
        across, across_slope = cubic(c * CELLS_C - j)

        def boundary(line):
            return (sum(across[n] * line[j + n] for n in range(4)),
                    sum(across_slope[n] * line[j + n] for n in range(4)) * CELLS_C)

        region, lower, lower_c = 0, 0.0, 0.0
        upper, upper_c = boundary(self.boundary[1])
        while region < 3 and s >= upper:
            region += 1
            lower, lower_c = upper, upper_c
            upper, upper_c = boundary(self.boundary[region + 1])
            upper = max(upper, lower + 1e-9)
        length = upper - lower
        part = (s - lower) / length
        t, by_s, by_lower, by_upper = part, 1.0 / length, (part - 1.0) / length, -part / length
        if region == 1:
            left = math.sqrt(max(1e-14, 1.0 - part))
            t, half = 1.0 - left, 0.5 / left
        elif region >= 2:
            t = math.sqrt(max(1e-14, part))
            half = 0.5 / t
        if region >= 1:
            by_s, by_lower, by_upper = by_s * half, by_lower * half, by_upper * half
        rows = ROWS[region]
        along = min(max(t, 0.0), 1.0) * rows
        i = min(int(along), rows - 1)
        down, down_slope = cubic(along - i)
        currents, squares = self.current[region], self.square[region]
        current = square = by_row = by_column = 0.0
        for m in range(4):
            at = (i + m) * WIDTH + j
            line = currents[at:at + 4]
            one = across[0] * line[0] + across[1] * line[1] + across[2] * line[2] + across[3] * line[3]
            current += down[m] * one
            by_row += down_slope[m] * one
            by_column += down[m] * (across_slope[0] * line[0] + across_slope[1] * line[1] +
                                    across_slope[2] * line[2] + across_slope[3] * line[3])
            line = squares[at:at + 4]
            square += down[m] * (across[0] * line[0] + across[1] * line[1] + across[2] * line[2] +
                                 across[3] * line[3])
        s2 = s * s
        scale = PULSE_REACTIVE * s2 * s2 / opposing
        share = BALANCE * r / opposing
        c_by_s = -c * share
        row_by_s = rows * (by_s + (by_lower * lower_c + by_upper * upper_c) * c_by_s)
        slope = scale * ((4.0 / s - share) * current + by_row * row_by_s + by_column * CELLS_C * c_by_s)
        return scale * current, -0.5 * slope / s, s2 * s2 * s2 * s / (opposing * opposing) * square

    def machine(self, speed, volts):
        """Direct current, its slope, losses of winding and rectifier."""
        g = self.generator
        electrical = g["pole_pairs"] * speed
        emf = g["flux_linkage_V_s"] * electrical
        across = volts + 2.0 * g["diode_drop_V"]
        if not across < SQRT3 * emf:
            return 0.0, 0.0, 0.0, 0.0
        r = g["winding_resistance_ohm"] + g["diode_resistance_ohm"]
        x = electrical * g["winding_inductance_H"]
        z = math.hypot(r, x)
        current, slope, square = self.bridge(across / (SQRT3 * emf), r / z, x / z)
        unit = emf / z
        current, square = current * unit, square * unit * unit
        return (current, slope / (SQRT3 * z), 3.0 * g["winding_resistance_ohm"] * square,
                2.0 * g["diode_drop_V"] * current + 3.0 * g["diode_resistance_ohm"] * square)

    # Battery.

    def open_curve(self, level):
        c = self.open_circuit
        s = min(max(level, 0.0), 1.0)
        knee = c["knee_V"] * math.exp(-s / c["knee_width"])
        rise = c["rise_V"] * math.exp(-(1.0 - s) / c["rise_width"])
        slope = c["slope_V"] + knee / c["knee_width"] + rise / c["rise_width"]
        return c["level_V"] + c["slope_V"] * s - knee + rise + (level - s) * slope

    def battery_at(self, y1, y2, diffusion, kelvin):
        b = self.battery
        excess = min(max(kelvin, 223.15), 373.15) - REFERENCE_K
        share = b["available_share"]
        level = y1 / (share * self.charge)
        entropy = REFERENCE_K * b["open_circuit_V_K"]
        a = min(max(level, 0.0), 1.0)
        cold = math.exp(-b["resistance_K1"] * excess)
        relaxing = (1.0 - a) / (1.0 - a + b["charge_polarisation"] * a) if diffusion < 0.0 else 1.0
        ohm = b["cells"] * b["cell_diffusion_resistance_ohm"]
        exponent = b["gassing_K1"] * excess - b["gassing_V"] / b["gassing_slope_V"]
        self.enthalpy = self.open_curve(level) - entropy
        self.enthalpy_bound = self.open_curve(y2 / ((1.0 - share) * self.charge)) - entropy
        self.entropic = b["open_circuit_V_K"] * (REFERENCE_K + excess)
        self.open = b["cells"] * (self.enthalpy + self.entropic)
        self.level, self.diffusion, self.kelvin, self.y1, self.y2 = a, diffusion, kelvin, y1, y2
        self.conductance = cold / (b["cells"] * b["cell_resistance_ohm"])
        self.relaxing = diffusion * relaxing * cold / ohm
        rate = b["exchange_rate_s1"] * math.exp(b["exchange_K1"] * excess)
        self.exchange = rate * (share * y2 - (1.0 - share) * y1)
        self.lost = b["self_discharge_s1"] * math.exp(b["self_discharge_K1"] * excess)
        self.exponent, self.at_0 = exponent, math.exp(exponent)

    def battery_flow(self, volts):
        b = self.battery
        a = self.level
        drive = self.open - self.diffusion - volts
        if drive >= 0.0:
            share = a / (a + b["discharge_polarisation"] * (1.0 - a))
        else:
            share = (1.0 - a) / (1.0 - a + 0.02 * a)
        main = self.conductance * share * drive
        fold = b["cells"] * b["gassing_slope_V"]
        exponent = self.exponent + volts / fold
        power = math.exp(min(exponent, 20.0))
        gassing = b["gassing_current_A"] * (power * (1.0 + max(0.0, exponent - 20.0)) - self.at_0)
        return (main - gassing, -self.conductance * share - b["gassing_current_A"] * power / fold, drive, main,
                gassing)

    # Loads.

    def lamp(self, lamp, kelvin, room):
        ohm = lamp["rated_ohm"] * tungsten(kelvin) / lamp["rated_ratio"]
        rated = lamp["rated_temperature_K"]
        given = lamp["rated_power_W"] * (0.95 * (kelvin**4 - room**4) / (rated**4 - REFERENCE_K**4) + 0.05 *
                                         (kelvin - room) / (rated - REFERENCE_K))
        return ohm, given

    def rates(self, y, wind, stretch):
        kinetic, y1, y2, diffusion, kelvin, dc_kelvin, pump_speed, ac_kelvin, wire = y[:9]
        room = self.room_K
        g = self.generator
        speed = math.sqrt(2.0 * max(0.0, kinetic) / self.inertia)
        self.battery_at(y1, y2, diffusion, kelvin)
        # Loads at their states.
        lamp_ohm, lamp_given = self.lamp(self.dc_lamp, dc_kelvin, room)
        mains_ohm, mains_given = self.lamp(self.ac_lamp, ac_kelvin, room)
        h, p, v = self.heater, self.pump, self.inverter
        wire_ohm = h["resistance_ohm"] * max(0.1, 1.0 + h["coefficient_K1"] * (wire - 293.15))
        wire_given = h["rated_power_W"] * (wire - room) / h["rated_rise_K"]
        lamp_on, pump_on, mains_on, wire_on = stretch["loads"]
        feeding, dump_S, running = stretch["feeding"], stretch["dump_S"], stretch["running"]
        ac_S = (1.0 / mains_ohm if mains_on else 0.0) + (1.0 / wire_ohm if wire_on else 0.0)
        volts = self.near or self.open - diffusion
        low, high = 0.0, 10.0 * self.battery["cells"]
        for _ in range(200):
            current, slope, drive, main, gassing = self.battery_flow(volts)
            source, source_slope, winding, rectifier = self.machine(speed, volts) if feeding else (0.0, 0.0, 0.0, 0.0)
            dc, dc_slope, pump = dump_S * volts, dump_S, 0.0
            if lamp_on:
                dc += self.lamps * volts / lamp_ohm
                dc_slope += self.lamps / lamp_ohm
            if pump_on:
                across = volts - p["constant_V_s"] * pump_speed
                beyond = max(0.0, abs(across) - p["brush_drop_V"])
                pump = math.copysign(beyond, across) / p["winding_ohm"]
                dc += pump
                dc_slope += 1.0 / p["winding_ohm"] if beyond > 0.0 else 0.0
            no_load = v["no_load_share"] * v["rated_power_VA"]
            if running:
                rms = min(v["output_rms_V"], v["link_ratio"] * volts / math.sqrt(2.0))
                active = rms * rms * ac_S
                part = active / v["rated_power_VA"]
                drawn = active * (1.0 + v["proportional_share"] + v["quadratic_share"] * part) + no_load
                bent = 0.0 if rms == v["output_rms_V"] else (2.0 * rms * ac_S * v["link_ratio"] / math.sqrt(2.0) *
                                                            (1.0 + v["proportional_share"] +
                                                             2.0 * v["quadratic_share"] * part))
            else:
                rms = active = bent = 0.0
                drawn = no_load if stretch["starting"] else v["off_power_W"]
            excess = current + source - dc - drawn / volts
            steep = slope + source_slope - dc_slope - (bent - drawn / volts) / volts
            if excess > 0.0:
                low = volts
            else:
                high = volts
            following = volts - excess / steep if steep < 0.0 else high
            if not low <= following <= high:
                following = 0.5 * (low + high)
            if abs(following - volts) <= 1e-11 * volts:
                break
            volts = following
        self.near = volts
        # Shaft.
        electrical = g["pole_pairs"] * speed
        lost = (winding + rectifier + electrical * (g["iron_hysteresis_J"] + g["iron_eddy_J_s"] * electrical) +
                speed * (g["bearing_torque_N_m"] + g["bearing_viscous_N_m_s"] * speed))
        tip = self.radius_m * speed
        rotor = (0.5 * self.density * math.pi * self.radius_m**3 * (0.015 * wind + 0.0208 * tip) *
                 (wind - tip / 11.0) * speed)
        # Battery.
        b = self.battery
        cells = b["cells"]
        missed = (b["charge_efficiency"] - 1.0) * main if main < 0.0 else 0.0
        reaction = main + missed
        exchange_W = cells * (self.enthalpy_bound - self.enthalpy) * self.exchange
        lost_W = cells * self.lost * (self.enthalpy * y1 + self.enthalpy_bound * y2)
        split = cells * 1.481
        gas = (1.0 - b["recombination"]) * (min(max(volts, 0.0), split) * gassing + min(self.open, split) * missed)
        heat = (drive * main + volts * excess + diffusion * self.relaxing + exchange_W + volts * gassing +
                self.open * missed + lost_W - gas - cells * self.entropic * reaction)
        ohm = cells * b["cell_diffusion_resistance_ohm"]
        terminal = volts * (current - excess)
        # Loads.
        lamp_W = volts * volts / lamp_ohm if lamp_on else 0.0
        shaft = p["constant_V_s"] * pump - p["friction_N_m"] * min(max(pump_speed, -1.0), 1.0) - (
            p["driven_N_m_s2"] * pump_speed * abs(pump_speed))
        mains_W = rms * rms / mains_ohm if running and mains_on else 0.0
        wire_W = rms * rms / wire_ohm if running and wire_on else 0.0
        return (rotor - lost - volts * source, self.exchange - reaction - self.lost * y1,
                -self.exchange - self.lost * y2, (main - self.relaxing) * ohm / b["diffusion_time_s"],
                (heat - b["heat_conductance_W_K"] * (kelvin - room)) / b["heat_capacity_J_K"],
                (lamp_W - lamp_given) / self.dc_lamp["heat_capacity_J_K"], shaft / p["inertia_kg_m2"],
                (mains_W - mains_given) / self.ac_lamp["heat_capacity_J_K"],
                (wire_W - wire_given) / h["heat_capacity_J_K"], rotor, volts * source, terminal,
                self.lamps * lamp_W + volts * pump, active)

    def integrate(self):
        y = np.array(self.start + [0.0] * 5)
        # The energies are summed up, not controlled, as ours are.
        tolerances = np.array(self.tolerances + [1e30] * 5)
        step = self.first_step_s
        self.near = 0.0
        for stretch in self.stretches:
            wind = stretch["wind"]
            end = stretch["seconds"]
            solution = solve_ivp(lambda _, at: self.rates(at.tolist(), wind, stretch), (0.0, end), y, method="RK45",
                                 rtol=self.relative_tolerance, atol=tolerances, first_step=min(step, end))
            if not solution.success:
                raise RuntimeError(solution.message)
            y = solution.y[:, -1]
            if len(solution.t) > 2:
                step = solution.t[-2] - solution.t[-3] if len(solution.t) > 3 else solution.t[1]
        return y


def main():
    with open(sys.argv[1]) as file:
        chain = Chain(json.load(file))
    for _ in sys.stdin:
        start = time.process_time()
        result = chain.integrate()
        taken = time.process_time() - start
        print(taken, *(repr(float(x)) for x in result), flush=True)


main()
