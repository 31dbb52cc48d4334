"""A throttle body on the rig: body_physics.py behind a full bridge, its feedback pair, and the rig's electronics.

Channels: the feedback lines, the sensor supply (which the motor's current makes sag, in the same scan), ground, the motor's
terminal volts and current with noise and the ripple of pulse-width modulation, temperature. There is no reference: nothing
else on the bench measures the plate.
"""

import numpy as np

import body_physics as b
import losses as lost_contact
import wire as w
from channel import Channel
from body_part import feedback_line
from programs import Executor, setpoints
from rig_grip import INPUT_OHMS, LOAD_OHMS, LOOM_OHMS, PULL_DOWN_OHMS

MODES = {w.RAMP: b.MODE_LOOP, w.HOLD: b.MODE_LOOP, w.STEP: b.MODE_LOOP, w.RELEASE: b.MODE_OPEN, w.VOLTS: b.MODE_VOLTS,
         w.VOLTS_RAMP: b.MODE_VOLTS, w.BRAKE: b.MODE_BRAKE}
LOOP_LIMITS = ((-100_000, 1_100_000), (-100_000, 1_100_000), (1000, 360_000), (0, 10_000_000), (0, 10_000_000), (0, 10_000_000),
               (0, 100_000))
CURRENT_LIMIT_MA = 12_000


class BodyPlant:
    model = "second world body rig"
    capabilities = 1 | 8 | 16 | 32
    periods = (100, 100_000)
    supply_range = (3500, 5500)
    travel_mdeg = (-10_000, 100_000)
    max_speed_mdeg_s = 3_000_000
    max_drive_mv = 13_500

    def __init__(self, rng, body, losses=()):
        self.rng, self.body, self.losses = rng, body, list(losses)
        self.p, self.table = body.p, body.gear_table()
        self.lines = [feedback_line(body.feedback, k) for k in (0, 1)]
        self.state = np.zeros(b.SIZE)
        self.place(float(np.rad2deg(self.p[b.P_REST])))
        self.loop = np.zeros(10)
        self.loop_set = False
        self.set_level = 0.0
        self.loads = self.pull_downs = 0
        self.powered, self.executor = False, None
        self.run_seconds, self.seen_losses = 0.0, []
        self.supply_change = lambda t: 1.0
        self.gains = {n: 1.0 + rng.normal(0, 3e-4) for n in ("rising", "falling", "supply")}
        self.zeros = {n: rng.normal(0, 3e-4) for n in ("rising", "falling", "supply")}
        self.amps_gain, self.amps_zero = 1.0 + rng.normal(0, 4e-3), rng.normal(0, 1.5e-3)
        self.volts_gain, self.volts_zero = 1.0 + rng.normal(0, 1.5e-3), rng.normal(0, 1.5e-3)
        volt = dict(encoding=1, unit=0, scale=1e-4, resolution=1.5e-4, filter_us=100, gain_uncertainty=4e-4, offset_uncertainty=4e-4)
        self.channels = [
            Channel("rising", switches=3, **volt), Channel("falling", switches=3, **volt), Channel("supply", **volt),
            Channel("motor_volts", 0, 0, 1e-3, resolution=2e-3, gain_uncertainty=2e-3, offset_uncertainty=2e-3),
            Channel("motor_amps", 0, 1, 1e-3, resolution=2e-3, gain_uncertainty=5e-3, offset_uncertainty=2e-3),
            Channel("supply_amps", 0, 1, 1e-5, resolution=2e-5, gain_uncertainty=5e-3, offset_uncertainty=5e-5),
            Channel("temperature", 0, 3, 1e-2, resolution=0.1, offset_uncertainty=0.5),
            Channel("ground", 0, 0, 1e-5, resolution=2e-5, offset_uncertainty=2e-5)]

    def place(self, degrees):
        s = self.state
        s[b.TH] = s[b.FB] = np.deg2rad(degrees)
        te = np.interp(degrees, b.FIRST_DEG + b.TABLE_STEP * np.arange(self.table.shape[1]), self.table[b.R_TE])
        s[b.T2] = (s[b.TH] + te) * self.p[b.P_N2]
        s[b.TM] = s[b.T2] * self.p[b.P_N1]

    # -- what the rig asks ---------------------------------------------------------------------------------------------

    def set_supply(self, millivolts, now_us):
        self.set_level = millivolts / 1000.0
        self.body.feedback.fed_with(self.set_level)
        self.lines = [feedback_line(self.body.feedback, k) for k in (0, 1)]

    def set_inputs(self, loads, pull_downs):
        self.loads, self.pull_downs = loads, pull_downs

    def knows_angles(self):
        return self.loop_set

    def heat_permille(self):
        return int(min(1000.0, self.state[b.HEAT] / 600.0 * 1000.0))

    def standing_causes(self):
        return 0

    def set_loop(self, fields):
        for n, (value, (low, high)) in enumerate(zip(fields, LOOP_LIMITS)):
            if not low <= value <= high:
                return n
            if n == 1 and abs(fields[1] - fields[0]) < 50_000:
                return 1
        closed, opened, travel, kp, ki, kd, smooth, dead, current = fields
        if dead > travel:
            return 7
        if not 1 <= current <= CURRENT_LIMIT_MA:
            return 8
        self.loop[:] = closed / 1e6, opened / 1e6, travel, kp, ki, kd, smooth * 1e-6, dead, current / 1000.0, self.max_drive_mv / 1000.0
        self.loop_set = True
        return None

    def angle(self):
        """As the loop sees it, degrees."""
        ratio = np.interp(np.rad2deg(self.state[b.FB]), b.FIRST_DEG + b.TABLE_STEP * np.arange(self.table.shape[1]), self.lines[0][0])
        if not self.loop_set:
            return 0.0
        return float((ratio - self.loop[0]) / (self.loop[1] - self.loop[0]) * self.loop[2] / 1000.0)

    def begin(self, segments, now_us):
        self.powered = segments is not None
        self.executor = Executor(segments, self.angle) if segments else None
        s = self.state
        s[b.INTEGRAL] = s[b.OVER] = s[b.STALL] = s[b.STRAY] = s[b.TICK] = 0.0

    def end(self, now_us):
        self.powered, self.executor = False, None
        self.state[b.U] = 0.0

    def physics(self, mode, want, volts0, volts1, length_us):
        steps = max(1, -(-length_us // b.STEP_US))
        if want is None:
            want = np.zeros(steps)
        out = np.empty((steps, 6))
        loop = self.loop if self.loop_set else np.array([0.1, 0.9, 84_000.0, 0, 0, 0, 0, 0, 1.0, 13.5])
        noise = self.rng.normal(0.0, self.body.feedback.noise / 5.0, 24)
        guard, value, done = b.drive(self.state, self.p, self.table, self.lines[0], loop, mode, want, volts0, volts1,
                                     length_us * 1e-6 / steps, noise, out)
        return guard, value, done, out, steps

    def rest(self, now_us, forward_us):
        """No drive: the plate falls back; what lasts longer than a second finds it at rest already."""
        self.physics(b.MODE_OPEN, None, 0.0, 0.0, int(min(forward_us, 1_000_000)))
        self.state[b.HEAT] = max(0.0, self.state[b.HEAT] - 9.0 * 1e-6 * max(0, forward_us - 1_000_000))
        self.state[b.WARM] *= float(np.exp(-forward_us * 1e-6 / (self.p[b.P_RTH] * self.p[b.P_CTH])))

    def advance(self, now_us, until_us, run):
        s = self.state
        first = np.array([[s[b.FB], s[b.I], 0.0, s[b.SAG], s[b.TH], s[b.TM]]])
        paths, times, reached, ended, trip, at = [first], [np.array([float(now_us)])], [], False, None, now_us
        while at < until_us and trip is None:
            mode, want, v0, v1, length = b.MODE_OPEN, None, 0.0, 0.0, until_us - at
            if self.executor is not None:
                got = self.executor.next_piece(length)
                if got is None:
                    ended = True
                    break
                piece, news = got
                length, mode = piece.length_us, MODES[piece.kind]
                if news is not None:
                    reached.append((at, *news))
                    if mode == b.MODE_LOOP:
                        s[b.TICK] = 0.0
                steps = max(1, -(-length // b.STEP_US))
                if mode == b.MODE_LOOP:
                    want = setpoints(piece, (np.arange(steps) + 1.0) * (length / steps))
                elif mode == b.MODE_VOLTS:
                    share = np.array([piece.into_us, piece.into_us + length]) / piece.lasting_us
                    v0, v1 = (piece.end, piece.end) if piece.kind == w.VOLTS else piece.start + (piece.end - piece.start) * share
            guard, value, done, out, steps = self.physics(mode, want, float(v0), float(v1), length)
            if len(paths) == 1 and paths[0].shape[0] == 1 and done:
                paths[0][0, 2] = out[0, 2]
            paths.append(out[:done])
            t = at + np.arange(1, done + 1) * (length / steps)
            times.append(t)
            at = at + length if guard < 0 else int(t[-1]) if done else at
            if guard >= 0:
                trip = (guard, int(np.clip(value, -2e9, 2e9)), at)
        path, clock = np.concatenate(paths), np.concatenate(times)
        count = max(0, -(-(at - run.first) // run.period)) if at > run.first else 0
        scans = run.first + np.arange(count) * run.period
        values = self.sense(scans.astype(float), clock, path, run.chosen) if count else None
        self.run_seconds += (at - now_us) * 1e-6
        return values, reached, ended, trip, at

    # -- electronics ---------------------------------------------------------------------------------------------------

    def sense(self, scans, clock, path, chosen):
        n, rng, body = scans.size, self.rng, self.body
        part = body.feedback
        angle, amps, volts, sag = (np.interp(scans, clock, path[:, k]) for k in (0, 1, 2, 3))
        # Terminal volts step at segments: the value that holds at the scan.
        volts = path[np.minimum(np.searchsorted(clock, scans + 1e-6, side="left"), clock.size - 1), 2]
        degrees = np.rad2deg(angle)
        grid = b.FIRST_DEG + b.TABLE_STEP * np.arange(self.table.shape[1])
        ratios = np.array([np.interp(degrees, grid, self.lines[k][0]) for k in (0, 1)])
        for k in (0, 1):
            admittance = 1.0 / INPUT_OHMS + (1.0 / LOAD_OHMS if self.loads >> k & 1 else 0.0)
            admittance += 1.0 / PULL_DOWN_OHMS if self.pull_downs >> k & 1 else 0.0
            source = part.contact_ohms + part.signal_ohms[k] + ratios[k] * (1 - ratios[k]) * part.track_ohms
            ratios[k] = ratios[k] / (1.0 + source * admittance)
        supply = self.set_level * np.array([self.supply_change(t * 1e-6) for t in scans[:1]])[0] * 1.0003
        supply = np.maximum(supply - 1e-3 * body.sag_mv_per_amp * sag, 0.0) if self.set_level else np.zeros(n)
        if self.set_level and self.losses:
            run_time = self.run_seconds + (scans - clock[0]) * 1e-6
            near = [x for x in self.losses if x.start < run_time[-1] and x.start + x.length + 2e-3 > run_time[0]]
            for loss in near:
                a, z = np.searchsorted(run_time, [loss.start, loss.start + loss.length])
                if z > a:
                    low, high = sorted((float(ratios[0, a]), float(ratios[1, a])))
                    share = {"rising": ratios[0, a], "second": ratios[1, a], "both": low}.get(loss.where, high)
                    self.seen_losses.append((loss, int(z - a), 100.0 * loss.depth * float(share)))
            ratios, _ = lost_contact.apply(ratios, [run_time, run_time], near, 1e-4)
        current = part.current * (supply / 5.0 if part.element == "pot" else (supply > 2.0) * 1.0)
        drop = current * LOOM_OHMS
        phase = rng.uniform(-1.0, 1.0, n)   # where in the modulation's period the scan falls
        driven = np.abs(volts) > 0.05
        duty = np.clip(np.abs(volts) / self.p[b.P_BAT], 0.0, 1.0)
        ripple = self.p[b.P_BAT] * duty * (1.0 - duty) / (2.0 * self.p[b.P_L] * body.pwm_khz * 1e3) * driven * self.powered
        values = {"supply": supply * self.gains["supply"] + self.zeros["supply"] + rng.normal(0, 2e-4, n),
                  "motor_volts": volts * self.volts_gain + self.volts_zero + rng.normal(0, body.volts_noise, n),
                  "motor_amps": (amps + ripple * phase * (amps != 0.0)) * self.amps_gain + self.amps_zero + rng.normal(0, body.amps_noise, n),
                  "supply_amps": current + rng.normal(0, 2e-5, n), "temperature": np.full(n, 23.0),
                  "ground": drop + rng.normal(0, 2e-5, n)}
        for k, name in enumerate(("rising", "falling")):
            noise = rng.normal(0, np.hypot(part.noise, 2e-4), n)
            values[name] = (drop + ratios[k] * (supply - 2.0 * drop) + noise) * self.gains[name] + self.zeros[name]
        return [values[self.channels[k].name] for k in chosen]
