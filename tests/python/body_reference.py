"""A throttle body by its differential equations, integrated by scipy's LSODA: what the simulator's fixed step is held against.

    python body_reference.py CASE.json

CASE.json: "numbers" and "teeth" (as the simulator writes its truth), "start" (state), "segments" ([volts or null, seconds], null for an
open bridge), "period_s". Prints CSV: t, amps, rotor, idler, plate (A, rad of their own axes), one row per period.

Written from the equations, not from the simulator: exact exp, tanh, cos and tooth shapes instead of tables, friction as a steep
tanh, and the integration is cut wherever a contact is made or lost and where the diodes' current ends.
"""

import json
import math
import sys

import numpy as np
from scipy.integrate import solve_ivp

N1, N2 = 45 / 11, 5.0
N = N1 * N2
RIPPLES = 14
BRIDGE_VOLTS = 13.0
# Speed (of the plate) over which friction turns: far below anything that matters.
STEEP = 2e-5
# More contacts made and lost than any case has.
MOST_CUTS = 2000
PITCH = 4.0


class Teeth:
    """Transmission error and wear against the idler's angle over its ratio, rad; value and slope."""

    def __init__(self, case):
        self.waves = [(w["amplitude_deg"], w["period_deg"], w["phase"]) for w in case["waves"]]
        self.bumps = [(PITCH * (k + 0.5), 0.4 * PITCH, 0.3 * PITCH, e) for k, e in enumerate(case["tooth_deg"])]
        worn = case["wear"]
        self.opening = [(w["centre_deg"], w["flat_deg"], w["fade_deg"], w["opening_deg"]) for w in worn]
        self.closing = [(w["centre_deg"], w["flat_deg"], w["fade_deg"], w["closing_deg"]) for w in worn]

    @staticmethod
    def bump(bumps, deg):
        value = slope = 0.0
        for centre, flat, fade, height in bumps:
            past = abs(deg - centre) - flat / 2
            if past < 0:
                value += height
            elif past < fade:
                value += height * 0.5 * (1 + math.cos(math.pi * past / fade))
                side = math.copysign(1.0, deg - centre)
                slope -= side * height * 0.5 * math.pi / fade * math.sin(math.pi * past / fade)
        return value, slope

    def at(self, phi):
        """Contact distances of opening and closing flank without half the lash, and their slopes."""
        deg = math.degrees(phi)
        error, slope = self.bump(self.bumps, deg)
        for amplitude, period, phase in self.waves:
            k = 2 * math.pi / period
            error += amplitude * math.sin(k * deg + phase)
            slope += amplitude * k * math.cos(k * deg + phase)
        (a, a1), (b, b1) = self.bump(self.opening, deg), self.bump(self.closing, deg)
        return math.radians(error + a), slope + a1, math.radians(b - error), b1 - slope


class Body:
    def __init__(self, case):
        numbers = case["numbers"]
        self.motor, self.gears = numbers["motor"], numbers["gears"]
        self.springs, self.plate = numbers["springs"], numbers["plate"]
        self.teeth = Teeth(case["teeth"])
        self.half1 = math.radians(self.gears["pinion"]["lash_deg"]) / 2
        self.half2 = math.radians(self.gears["sector"]["lash_deg"]) / 2
        self.rest = math.radians(self.springs["rest_deg"])
        self.gap = math.radians(self.springs["gap_deg"]) / 2
        self.ramp = math.radians(self.springs["ramp_deg"])
        self.open = math.radians(self.plate["open_stop_deg"])

    def pinion(self, x):
        """Rotor against idler, rad of the idler."""
        return x[1] / N1 - x[3]

    def sector(self, x):
        """Idler against plate, rad of the plate, and where the flanks touch."""
        a, _, b, _ = self.teeth.at(x[3] / N2)
        return x[3] / N2 - x[5], self.half2 + a, self.half2 + b

    def contacts(self):
        """Zero where a contact is made or lost: both flanks of both meshes, both stops."""

        def opening(_, x):
            d, a, _ = self.sector(x)
            return d - a

        def closing(_, x):
            d, _, b = self.sector(x)
            return d + b

        return [
            lambda _, x: self.pinion(x) - self.half1,
            lambda _, x: self.pinion(x) + self.half1,
            opening,
            closing,
            lambda _, x: x[5],
            lambda _, x: x[5] - self.open,
        ]

    def spring(self, plate):
        y = plate - self.rest
        past = abs(y) - self.gap
        if past <= 0:
            return 0.0
        side = self.springs["main" if y > 0 else "default"]
        pull = side["preload_nm"] * min(1.0, past / self.ramp) + side["stiffness"] * past
        return -math.copysign(pull, y)

    def stops(self, plate, speed):
        k, c = self.plate["stop_stiffness"], self.plate["stop_damping"]
        if plate < 0:
            return max(0.0, -k * plate - c * speed)
        if plate > self.open:
            return -max(0.0, k * (plate - self.open) + c * speed)
        return 0.0

    @staticmethod
    def level(friction, v):
        stribeck = math.exp(-((v / friction["stribeck_rad_s"]) ** 2))
        return friction["coulomb_nm"] * (1 + (friction["static_ratio"] - 1) * stribeck)

    def rates(self, x, volts):
        """The right-hand side; `volts` is None where no current can flow, else the terminals' voltage."""
        amps, rotor, w_rotor, idler, w_idler, plate, w_plate = x
        m, g, p = self.motor, self.gears, self.plate
        phase = RIPPLES * rotor + m["ripple_phase"]
        constant = m["constant"] * (1 + m["ripple"] * math.cos(phase))
        ohms = m["ohms"] * (1 + m["ohms_ripple"] * math.cos(phase + 1))
        rate = 0.0
        if volts is not None:
            brushes = m["brush_volts"] * math.tanh(20 * amps)
            rate = (volts - ohms * amps - brushes - constant * w_rotor) / m["henry"]

        d1, v1 = rotor / N1 - idler, w_rotor / N1 - w_idler
        k1, c1 = g["pinion"]["stiffness"], g["pinion"]["damping"]
        t1 = 0.0
        if d1 > self.half1:
            t1 = max(0.0, k1 * (d1 - self.half1) + c1 * v1)
        elif d1 < -self.half1:
            t1 = min(0.0, k1 * (d1 + self.half1) + c1 * v1)

        d2, v2 = idler / N2 - plate, w_idler / N2
        a, a1, b, b1 = self.teeth.at(idler / N2)
        k2, c2 = g["sector"]["stiffness"], g["sector"]["damping"]
        t2, cam = 0.0, 1.0
        if d2 > self.half2 + a:
            cam = 1 - a1
            t2 = max(0.0, k2 * (d2 - self.half2 - a) + c2 * (v2 * cam - w_plate))
        elif d2 < -self.half2 - b:
            cam = 1 + b1
            t2 = min(0.0, k2 * (d2 + self.half2 + b) + c2 * (v2 * cam - w_plate))

        dry_rotor = self.level(m["friction"], w_rotor) * math.tanh(w_rotor / (STEEP * N))
        dry_idler = g["idler_friction_nm"] * math.tanh(w_idler / (STEEP * N2))
        dry_plate = self.level(p["friction"], w_plate) * math.tanh(w_plate / STEEP)
        cog = m["cogging_nm"] * math.sin(RIPPLES * rotor)
        on_rotor = constant * amps - t1 / N1 - m["viscous"] * w_rotor + cog - dry_rotor
        on_plate = t2 + self.spring(plate) + self.stops(plate, w_plate) - p["viscous"] * w_plate - dry_plate
        return [
            rate,
            w_rotor,
            on_rotor / m["inertia"],
            w_idler,
            (t1 - cam * t2 / N2 - dry_idler) / g["idler_inertia"],
            w_plate,
            on_plate / p["inertia"],
        ]


def piece(body, t, end, x, volts, open_bridge):
    """Integrates to `end` or the next event; the solution."""
    if open_bridge:
        volts = None if x[0] == 0 else -math.copysign(BRIDGE_VOLTS, x[0])
    events = body.contacts()
    if open_bridge and volts is not None:
        events.append(lambda _, y: y[0])
    for event in events:
        event.terminal = True
    kept = {"method": "LSODA", "dense_output": True, "rtol": 1e-8, "atol": 1e-10, "max_step": 1e-4}
    return solve_ivp(lambda _, y: body.rates(y, volts), (t, end), x, events=events, **kept), volts


def integrate(case):
    body, period = Body(case), case["period_s"]
    start = case["start"]
    order = ("amps", "rotor", "rotor_speed", "idler", "idler_speed", "plate", "plate_speed")
    x, t, rows, begin, cuts = np.array([start[k] for k in order], float), 0.0, [], 0.0, 0
    for volts, seconds in case["segments"]:
        end = begin + seconds
        while t < end - 1e-12:
            cuts += 1
            if cuts > MOST_CUTS:
                sys.exit(f"{cuts} contacts made and lost by {t} s: this does not come to an end")
            solution, applied = piece(body, t, end, x, volts, volts is None)
            while len(rows) * period <= solution.t[-1] + 1e-12:
                at = len(rows) * period
                rows.append((at, *solution.sol(min(max(at, t), solution.t[-1]))))
            x, t = solution.y[:, -1].copy(), solution.t[-1]
            if volts is None and applied is not None and solution.status == 1 and len(solution.t_events[-1]):
                x[0] = 0.0
            if solution.status == 1 and t < end:
                # Past the zero, so that it is not found again.
                x = x + 1e-9 * np.array(body.rates(x, None if x[0] == 0 and volts is None else applied))
                t += 1e-9
        begin = end
    return rows


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        case = json.load(file)
    print("t,amps,rotor,idler,plate")
    for t, amps, rotor, _, idler, _, plate, _ in integrate(case):
        print(f"{t:.6f},{amps:.12g},{rotor:.12g},{idler:.12g},{plate:.12g}")


if __name__ == "__main__":
    main()
