"""A driven grip on the rig: a servo turns it against its self-closing spring; its two lines come from grip_part.py.

Physics from textbooks: J theta'' = T_drive - T_spring(theta) - friction - stops. Friction is a bristle (Dahl 1968: dz/dt = v (1 -
sign(v) z/z_max)), so it creeps before it slips. The drive is a current-limited position servo; its current is its torque over
its constant. Lines at the plug: see grip_part.py; the rig's loads, pull-downs and inputs load them by Ohm's law.
"""

import numba
import numpy as np

import losses as lost_contact
import wire as w
from channel import Channel
from motion import with_play
from programs import Executor, setpoints

STEP_US = 50
PULL_DOWN_OHMS, LOAD_OHMS, INPUT_OHMS = 100e3, 10e3, 5e6
LOOM_OHMS = 0.106                     # 2 m of 0.34 mm2, each way (IEC 60228: 53 mOhm/m)
DRIVE_NM_A = 0.35
CURRENT_LIMIT, OVER_CURRENT, OVER_SECONDS = 2.5, 3.4, 0.4


@numba.njit(cache=True)
def turn(state, setpoints, powered, p, out):
    """Steps of STEP_US. state: angle, speed (rad), bristle (-1..1), integral; p: J, T0, k, Tf, zmax, travel, kp, kd, ki, limit."""
    h = 50e-6
    angle, speed, z, integral = state[0], state[1], state[2], state[3]
    for i in range(setpoints.size):
        torque = 0.0
        if powered:
            error = setpoints[i] - angle
            integral = min(max(integral + p[8] * error * h, -p[9]), p[9])
            torque = min(max(p[6] * error - p[7] * speed + integral, -p[9]), p[9])
        else:
            integral = 0.0
        spring = -(p[1] + p[2] * angle)
        stop = 0.0
        if angle < 0.0:
            stop = max(0.0, -3000.0 * angle - 1.5 * speed)
        elif angle > p[5]:
            stop = -max(0.0, 3000.0 * (angle - p[5]) + 1.5 * speed)
        dz = speed * h / p[4]
        z = min(max(z + dz - abs(dz) * z, -1.0), 1.0)
        speed += h * (torque + spring + stop - p[3] * z - 0.004 * speed) / p[0]
        angle += h * speed
        out[i, 0] = angle
        out[i, 1] = torque
    state[0], state[1], state[2], state[3] = angle, speed, z, integral


class GripPlant:
    model = "second world grip rig"
    capabilities = 1 | 2 | 4 | 8 | 16
    periods = (100, 100_000)
    supply_range = (3500, 5500)
    travel_mdeg = (-2000, 90_000)
    max_speed_mdeg_s = 720_000
    max_drive_mv = 0

    def __init__(self, rng, part, losses=(), spring=(0.12, 0.18), friction=0.03, seized_at=None):
        self.rng, self.part, self.losses, self.seized_at = rng, part, list(losses), seized_at
        travel = np.deg2rad(part.travel)
        self.p = np.array([2.5e-4, spring[0], spring[1], friction, np.deg2rad(rng.uniform(0.05, 0.2)), travel, 12.0, 0.12, 120.0,
                           CURRENT_LIMIT * DRIVE_NM_A])
        self.state = np.zeros(4)
        if seized_at is not None:
            self.state[0] = np.deg2rad(seized_at)
        self.set_level, self.level = 0.0, 0.0
        self.loads = self.pull_downs = 0
        self.powered, self.executor = False, None
        self.over = 0.0
        self.run_seconds, self.play_state, self.tails = 0.0, None, np.zeros(2)
        self.seen_losses = []
        self.gains = {n: 1.0 + rng.normal(0, 3e-4) for n in ("rising", "falling", "supply")}
        self.zeros = {n: rng.normal(0, 3e-4) for n in ("rising", "falling", "supply")}
        self.eccentric, self.turn_phase = rng.uniform(0.0, 0.02), rng.uniform(0, 2 * np.pi)
        self.ripple = (rng.uniform(0.0, 0.01), rng.uniform(80.0, 300.0))
        self.ripple_phase = 0.0
        self.supply_change = lambda t: 1.0   # quirk: over rig seconds
        volt = dict(encoding=1, unit=0, scale=1e-4, resolution=1.5e-4, filter_us=100, gain_uncertainty=4e-4, offset_uncertainty=4e-4)
        self.channels = [
            Channel("rising", switches=3, **volt), Channel("falling", switches=3, **volt), Channel("supply", **volt),
            Channel("reference", 2, 2, 1e-3, resolution=5e-3, gain_uncertainty=1e-4, offset_uncertainty=0.015),
            Channel("supply_amps", 0, 1, 1e-5, resolution=2e-5, gain_uncertainty=5e-3, offset_uncertainty=5e-5),
            Channel("drive_amps", 0, 1, 1e-3, resolution=2e-3, gain_uncertainty=1e-2, offset_uncertainty=5e-3),
            Channel("temperature", 0, 3, 1e-2, resolution=0.1, offset_uncertainty=0.5),
            Channel("ground", 0, 0, 1e-5, resolution=2e-5, offset_uncertainty=2e-5)]

    # -- what the rig asks ---------------------------------------------------------------------------------------------

    def set_supply(self, millivolts, now_us):
        self.set_level = millivolts / 1000.0
        self.part.fed_with(self.set_level)

    def set_inputs(self, loads, pull_downs):
        self.loads, self.pull_downs = loads, pull_downs

    def knows_angles(self):
        return True

    def heat_permille(self):
        return 0

    def standing_causes(self):
        return 0

    def angle(self):
        return float(np.rad2deg(self.state[0]))

    def begin(self, segments, now_us):
        self.powered = segments is not None
        self.executor = Executor(segments, self.angle) if segments else None
        self.over = 0.0

    def end(self, now_us):
        self.powered, self.executor = False, None

    def rest(self, now_us, forward_us):
        self.level = self.set_level
        if self.seized_at is None:
            steps = int(min(forward_us, 1_500_000) / STEP_US)
            turn(self.state, np.zeros(steps), False, self.p, np.empty((steps, 2)))

    def advance(self, now_us, until_us, run):
        """Physics from now to until (or the program's end, or a guard): channel values at the scans, and what happened."""
        paths, reached, ended, trip = [np.array([[self.state[0], 0.0]])], [], False, None
        at, times = now_us, [np.array([float(now_us)])]
        while at < until_us and trip is None:
            piece, length = None, until_us - at
            if self.executor is not None:
                got = self.executor.next_piece(length)
                if got is None:
                    ended = True
                    break
                piece, news = got
                if news is not None:
                    reached.append((at, *news))
                length = piece.length_us
            steps = max(1, length // STEP_US)
            t = np.linspace(0.0, length, steps + 1)[1:]
            out = np.empty((steps, 2))
            self.turn_piece(piece, t, out)
            paths.append(out)
            times.append(at + t)
            at += length
            trip = self.guard(out, length, at)
        path, clock = np.concatenate(paths), np.concatenate(times)
        count = max(0, -(-(at - run.first) // run.period)) if at > run.first else 0
        scans = run.first + np.arange(count) * run.period
        values = self.sense(scans.astype(float), clock, path, run.chosen) if count else None
        self.run_seconds += (at - now_us) * 1e-6
        return values, reached, ended, trip, at

    def turn_piece(self, piece, t, out):
        if self.seized_at is not None:
            if piece is not None and piece.kind != w.RELEASE:
                want = setpoints(piece, t)
                out[:, 1] = np.clip(self.p[6] * (np.deg2rad(want) - self.state[0]) * 20.0, -self.p[9], self.p[9])
            else:
                out[:, 1] = 0.0
            out[:, 0] = self.state[0]
            return
        powered = piece is not None and piece.kind in (w.RAMP, w.HOLD, w.STEP)
        want = setpoints(piece, t) if powered else np.zeros(t.size)
        turn(self.state, np.deg2rad(want), powered, self.p, out)

    def guard(self, out, length_us, at):
        amps = out[-1, 1] / DRIVE_NM_A
        self.over = self.over + length_us * 1e-6 if abs(amps) > OVER_CURRENT else 0.0
        if self.over > OVER_SECONDS:
            return w.G_CURRENT, int(1000 * amps), at
        return None

    # -- electronics ---------------------------------------------------------------------------------------------------

    def sense(self, scans, clock, path, chosen):
        angle = np.rad2deg(np.interp(scans, clock, path[:, 0]))
        torque = np.interp(scans, clock, path[:, 1])
        names = [self.channels[k].name for k in chosen]
        n = scans.size
        rng = self.rng
        seconds = scans * 1e-6
        target = self.set_level
        rising_in = np.array([self.supply_change(s) for s in seconds])
        # A ripple wanders in phase, by about one radian in a second; it does not lock to the strokes.
        self.ripple_phase += rng.normal(0.0, np.sqrt(max(1e-6, seconds[-1] - seconds[0])))
        ripple = self.ripple[0] * np.sin(2 * np.pi * self.ripple[1] * seconds + self.ripple_phase)
        supply = target * rising_in * 1.0003 + (ripple if target else 0.0)
        part = self.part
        amps = part.current * (supply / 5.0 if part.element == "pot" else (supply > 2.0) * 1.0)
        drop = amps * LOOM_OHMS
        ratios = self.line_ratios(angle)
        if target:
            plain = ratios.copy()
            run_time = self.run_seconds + (scans - clock[0]) * 1e-6
            ratios, dropped = lost_contact.apply(ratios, [run_time, run_time], self.losses, 1e-4)
            self.note_losses(run_time, plain)
        values = {"supply": supply * self.gains["supply"] + self.zeros["supply"] + rng.normal(0, 2e-4, n),
                  "reference": angle + self.eccentric * (np.sin(np.deg2rad(angle) + self.turn_phase) - np.sin(self.turn_phase))
                  + rng.normal(0, 0.002, n), "supply_amps": amps + rng.normal(0, 2e-5, n),
                  "drive_amps": torque / DRIVE_NM_A + rng.normal(0, 5e-3, n), "temperature": np.full(n, 23.0),
                  "ground": drop + rng.normal(0, 2e-5, n)}
        values["reference"] = np.round(values["reference"] / 0.005) * 0.005
        for k, name in enumerate(("rising", "falling")):
            # The loom drops the same in both wires; the lines are read against the rig's own 0 V.
            volts = drop + ratios[k] * (supply - 2.0 * drop) + rng.normal(0, np.hypot(part.noise, 2e-4), n)
            for low, high, size, lines in part.noisy:
                if k in lines:
                    moving = np.abs(np.gradient(angle, seconds)) > 1.0 if n > 1 else np.zeros(n)
                    volts = volts + rng.normal(0, size, n) * ((angle >= low) & (angle <= high) & moving)
            values[name] = volts * self.gains[name] + self.zeros[name]
        return [values[name] for name in names]

    def note_losses(self, run_time, plain):
        for loss in self.losses:
            a, b = np.searchsorted(run_time, [loss.start, loss.start + loss.length])
            if b > a:
                there = plain[:, min(a, plain.shape[1] - 1)]
                share = {"rising": there[0], "second": there[1], "both": min(there), "supply": max(there), "ground": 1 - min(there)}
                self.seen_losses.append((loss, int(b - a), 100.0 * loss.depth * float(share[loss.where])))

    def line_ratios(self, angle):
        """Both lines behind play, leads and the rig's loads; the play goes on from where it was."""
        part = self.part
        plays = [part.play] if not part.spread_play else list(part.play * np.array([0.4, 0.8, 1.2, 1.6]))
        if self.play_state is None:
            self.play_state = [angle[0]] * len(plays)
        grid, rows = part.tables()
        out = np.zeros((2, angle.size))
        for j, play in enumerate(plays):
            behind = with_play(angle, play, self.play_state[j])
            self.play_state[j] = float(behind[-1])
            for k in (0, 1):
                out[k] += np.interp(behind, grid, rows[k]) / len(plays)
        for k in (0, 1):
            admittance = 1.0 / INPUT_OHMS + (1.0 / LOAD_OHMS if self.loads >> k & 1 else 0.0)
            admittance += 1.0 / PULL_DOWN_OHMS if self.pull_downs >> k & 1 else 0.0
            source = part.contact_ohms + part.signal_ohms[k] + out[k] * (1 - out[k]) * part.track_ohms
            out[k] = out[k] / (1.0 + source * admittance)
        return out
