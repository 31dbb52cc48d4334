"""A bench rig that speaks protocol/WIRE.md, written from that text alone, over a plant of its own.

`Rig` is the protocol: requests in, answers, events and sample blocks out. It has no socket. A plant (rig_grip.py,
rig_body.py) gives channels and physics. serve.py puts it on a TCP port. Quirks of bad rigs are in adversary.py.

The rig's clock is its own: during a run it goes as fast as the computer can, at rest `REST_SPEED` times as fast as the wall's.
Silence of the link is judged in wall time; when the rig runs fast the allowance is larger, because a host's wall clock then
says nothing of the rig's.
"""

import struct
import time

import numpy as np

import wire as w

REST_SPEED = 10.0
WATCH_SPEED = 40.0
BLOCK_US = 20_000
FAST_CHUNK_US = 60_000
FIRMWARE = "second world"


class Rig:
    def __init__(self, plant, boot=1, real_time=False, wall=time.monotonic):
        self.plant, self.boot, self.real_time, self.wall = plant, boot, real_time, wall
        self.silence_s = 0.3 if real_time else 3.0
        self.dead_s = 2.0 if real_time else 20.0
        self.out = []                       # frames to send, with the time of run they belong to
        self.now_us, self.wall_then = 1000, wall()
        self.heard = wall()
        self.session, self.newest, self.last_frame, self.last_answer = None, None, None, None
        self.state, self.armed, self.tripped = w.RESTING, False, 0
        self.program, self.supply_mv = [], 0
        self.loads = self.pull_downs = 0
        self.events, self.run, self.blocks = 0, 0, 0
        self.deframer = w.Deframer()
        self.scheduled = None               # the run that is on
        self.end_at_once = False            # quirk
        self.event(w.E_BOOTED)

    # -- what is sent unasked ------------------------------------------------------------------------------------------

    def event(self, code, fields=b"", at=None, run=0):
        stamp = self.now_us if at is None else at
        self.out.append(w.frame(w.EVENT, 0, struct.pack("<IQIB", self.events, stamp, run, code) + fields))
        self.events += 1

    def send_block(self, run):
        held, period = run.held, run.period
        scans = held[0].size
        payload = struct.pack("<IIQIHHI", run.number, self.blocks, run.block_first, period, scans, run.mask, 0)
        payload += b"".join(self.plant.channels[k].counts(v).tobytes() for k, v in zip(run.chosen, held))
        self.out.append(w.frame(w.BLOCK, 0, payload))
        self.blocks += 1

    # -- requests ------------------------------------------------------------------------------------------------------

    def feed(self, data):
        for got in self.deframer.feed(data):
            self.handle(*got)

    def handle(self, version, kind, request_id, payload):
        self.catch_up()
        if kind in (w.BLOCK, w.EVENT, w.REFUSAL) or kind & 0x80:
            return
        if version != w.VERSION:
            self.out.append(w.refusal(request_id, kind, w.WRONG_VERSION, w.VERSION))
            return
        if kind in (w.STATUS, w.HEARTBEAT, w.CLOCK_PING):
            answer = self.stateless(kind, request_id, payload)
            self.out.append(answer)
            return
        content = (kind, payload)
        fresh = kind == w.IDENTIFY and len(payload) == 4 and struct.unpack("<I", payload)[0] != self.session
        if self.session is None and kind != w.IDENTIFY:
            known = kind in w.SIZES or kind in (w.LOAD_PROGRAM, w.SET_MAPPING)
            self.out.append(w.refusal(request_id, kind, w.NO_SESSION if known else w.UNKNOWN, 0 if known else kind))
            return
        if not fresh and self.newest is not None:
            ahead = ((request_id - self.newest + 0x8000) & 0xFFFF) - 0x8000
            if ahead == 0 and content == self.last_frame:
                self.out.append(self.last_answer)
                return
            if ahead <= 0:
                self.out.append(w.refusal(request_id, kind, w.STALE, self.newest))
                return
        answer = self.carry_out(kind, request_id, payload)
        if self.session is not None:
            self.newest, self.last_frame, self.last_answer = request_id, content, answer
        self.out.append(answer)
        self.after_answer()

    def accepted(self):
        self.heard = self.wall()

    def done(self, kind, request_id, at=None):
        self.accepted()
        return w.frame(kind | 0x80, request_id, struct.pack("<Q", self.now_us if at is None else at))

    def stateless(self, kind, request_id, payload):
        if len(payload) != w.SIZES[kind]:
            return w.refusal(request_id, kind, w.MALFORMED, len(payload))
        if kind == w.HEARTBEAT:
            return self.done(kind, request_id)
        self.accepted()
        if kind == w.CLOCK_PING:
            return w.frame(kind | 0x80, request_id, payload + struct.pack("<Q", self.now_us))
        fields = struct.pack("<QBHHIHIIIHHBH", self.now_us, self.state, self.tripped, self.causes(), self.run, self.supply_mv, 0,
                             self.deframer.dropped, self.blocks, self.loads, self.pull_downs,
                             int(self.state == w.DRIVING and self.plant.powered), self.plant.heat_permille())
        return w.frame(kind | 0x80, request_id, fields)

    def causes(self):
        return self.plant.standing_causes()

    def carry_out(self, kind, request_id, payload):
        def refuse(reason, detail=0):
            return w.refusal(request_id, kind, reason, detail)

        sized = w.SIZES.get(kind)
        if sized is None and kind not in (w.LOAD_PROGRAM, w.SET_MAPPING):
            return refuse(w.UNKNOWN, kind)
        if sized is not None and len(payload) != sized:
            return refuse(w.MALFORMED, len(payload))
        running = self.state in (w.WATCHING, w.DRIVING)
        plant = self.plant
        if kind == w.IDENTIFY:
            self.end_run(w.NEW_SESSION)
            self.armed = False
            self.session = struct.unpack("<I", payload)[0]
            self.settle_state()
            self.accepted()
            return w.frame(kind | 0x80, request_id, self.identity())
        if kind in (w.DESCRIBE, w.CALIBRATION):
            if payload[0] >= len(plant.channels):
                return refuse(w.OUT_OF_RANGE, 0)
            channel = plant.channels[payload[0]]
            self.accepted()
            body = channel.describe(payload[0]) if kind == w.DESCRIBE else channel.calibration(payload[0])
            return w.frame(kind | 0x80, request_id, body)
        if kind == w.SET_SUPPLY:
            (level,) = struct.unpack("<H", payload)
            if level and not plant.supply_range[0] <= level <= plant.supply_range[1]:
                return refuse(w.OUT_OF_RANGE, 0)
            if level and self.tripped & ((1 << w.G_SUPPLY) | (1 << w.G_TEMPERATURE)):
                return refuse(w.GUARDED, self.tripped)
            self.set_supply(level)
            return self.done(kind, request_id)
        if kind == w.SET_INPUT:
            return self.set_input(payload, refuse, lambda: self.done(kind, request_id))
        if kind == w.LOAD_PROGRAM:
            return self.load_program(payload, refuse, lambda: self.done(kind, request_id))
        if kind == w.ARM:
            if running:
                return refuse(w.UNTIMELY, self.state)
            if self.tripped | self.causes():
                return refuse(w.GUARDED, self.tripped | self.causes())
            self.armed = True
            self.settle_state()
            return self.done(kind, request_id)
        if kind == w.START:
            return self.start(payload, refuse, lambda at: self.done(kind, request_id, at))
        if kind == w.STOP:
            self.end_run(w.STOPPED)
            self.armed = False
            self.settle_state()
            return self.done(kind, request_id)
        if kind == w.CLEAR_TRIP:
            if self.tripped & self.causes():
                return refuse(w.GUARDED, self.tripped & self.causes())
            self.tripped, self.armed = 0, False
            self.settle_state()
            return self.done(kind, request_id)
        if kind == w.SET_LOOP:
            if not plant.capabilities & 32:
                return refuse(w.NOT_CAPABLE, 32)
            if running:
                return refuse(w.UNTIMELY, self.state)
            wrong = plant.set_loop(struct.unpack("<iiIIIIIII", payload))
            return refuse(w.OUT_OF_RANGE, wrong) if wrong is not None else self.done(kind, request_id)
        # SetMapping: this rig is never a pair's.
        lacking = 32 if not plant.capabilities & 32 else 2
        if not payload or len(payload) != 1 + 8 * payload[0]:
            return refuse(w.MALFORMED, len(payload))
        return refuse(w.NOT_CAPABLE, lacking)

    def identity(self):
        plant = self.plant
        return (struct.pack("<II", self.session, self.boot) + w.text(plant.model, 24) + w.text("SW-1", 16)
                + w.text(FIRMWARE, 16) + struct.pack(
                    "<IBIIHHiiIH", plant.capabilities, len(plant.channels), plant.periods[0], plant.periods[1],
                    *plant.supply_range, *plant.travel_mdeg, plant.max_speed_mdeg_s, plant.max_drive_mv))

    def set_supply(self, level):
        self.supply_mv = level
        self.plant.set_supply(level, self.now_us)
        self.event(w.E_SUPPLY, struct.pack("<H", level), run=self.run if self.scheduled else 0)

    def set_input(self, payload, refuse, done):
        index, switches = payload
        channels = self.plant.channels
        if switches > 3:
            return refuse(w.MALFORMED, len(payload))
        if index >= len(channels):
            return refuse(w.OUT_OF_RANGE, 0)
        if not self.plant.capabilities & 16:
            return refuse(w.NOT_CAPABLE, 16)
        if switches & 1 and not channels[index].switches & 1:
            return refuse(w.OUT_OF_RANGE, 1)
        if switches & 2 and not channels[index].switches & 2:
            return refuse(w.OUT_OF_RANGE, 2)
        bit = 1 << index
        self.loads = self.loads | bit if switches & 1 else self.loads & ~bit
        self.pull_downs = self.pull_downs | bit if switches & 2 else self.pull_downs & ~bit
        self.plant.set_inputs(self.loads, self.pull_downs)
        self.event(w.E_INPUT, bytes(payload), run=self.run if self.scheduled else 0)
        return done()

    def load_program(self, payload, refuse, done):
        if self.state in (w.WATCHING, w.DRIVING):
            return refuse(w.UNTIMELY, self.state)
        segments = w.segments(payload)
        if segments is None:
            return refuse(w.MALFORMED, len(payload))
        if not segments:
            return refuse(w.OUT_OF_RANGE, 0)
        wrong = self.wrong_segment(segments)
        if wrong is not None:
            return refuse(w.OUT_OF_RANGE, wrong)
        self.program = segments
        return done()

    def wrong_segment(self, segments):
        plant = self.plant
        for n, (kind, first, times, a, b, c) in enumerate(segments):
            if kind in (w.RAMP, w.STEP):
                if not plant.travel_mdeg[0] <= a <= plant.travel_mdeg[1] or not plant.knows_angles():
                    return n
            if kind == w.RAMP and not (1 <= b <= plant.max_speed_mdeg_s and 1 <= c <= 1_000_000_000):
                return n
            if kind in (w.HOLD, w.STEP, w.RELEASE, w.VOLTS, w.VOLTS_RAMP, w.BRAKE) and b < 1000:
                return n
            if kind == w.HOLD and not plant.knows_angles():
                return n
            if kind in (w.VOLTS, w.VOLTS_RAMP, w.BRAKE) and (not plant.capabilities & 32 or abs(a) > plant.max_drive_mv):
                return n
            if kind == w.REPEAT:
                if first >= n or times == 0 or any(s[0] == w.REPEAT for s in segments[first:n]):
                    return n
        return None

    def start(self, payload, refuse, done):
        number, period, mask, drive, longest = struct.unpack("<IIHBQ", payload)
        if drive > 1:
            return refuse(w.MALFORMED, len(payload))
        if number == 0:
            return refuse(w.OUT_OF_RANGE, 0)
        if not self.plant.periods[0] <= period <= self.plant.periods[1]:
            return refuse(w.OUT_OF_RANGE, 1)
        if mask == 0 or mask >> len(self.plant.channels):
            return refuse(w.OUT_OF_RANGE, 2)
        if self.state in (w.WATCHING, w.DRIVING) or number == self.run or (drive and (not self.armed or not self.program)):
            return refuse(w.UNTIMELY, self.state)
        if self.tripped | self.causes():
            return refuse(w.GUARDED, self.tripped | self.causes())
        self.run, self.blocks = number, 0
        self.scheduled = Run(number, period, mask, bool(drive), longest, self.now_us)
        self.state = w.DRIVING if drive else w.WATCHING
        self.plant.begin(self.program if drive else None, self.now_us)
        return done(self.now_us)

    def after_answer(self):
        run = self.scheduled
        if run is not None and not run.told:
            run.told = True
            self.event(w.E_STARTED, run=run.number)
            self.wall_then, self.run_wall = self.wall(), self.wall()
            if self.end_at_once:
                self.end_run(w.COMPLETE)

    # -- time ----------------------------------------------------------------------------------------------------------

    def settle_state(self):
        if self.scheduled is None:
            self.state = w.TRIPPED if self.tripped else w.ARMED if self.armed else w.RESTING

    def catch_up(self):
        """At rest, lets the rig's clock go on with the wall's."""
        if self.scheduled is not None:
            return
        wall = self.wall()
        speed = 1.0 if self.real_time else REST_SPEED
        forward = int((wall - self.wall_then) * 1e6 * speed)
        if forward > 0:
            self.wall_then = wall
            self.plant.rest(self.now_us, forward)
            self.now_us += forward

    def silent(self):
        """Guards against a host that is gone; looked at between chunks."""
        quiet = self.wall() - self.heard
        if (self.armed or self.state == w.DRIVING) and quiet > self.silence_s:
            self.trip(w.G_SILENCE, int(quiet * 1e6))
        if quiet > self.dead_s and self.supply_mv:
            if self.state == w.WATCHING:
                self.end_run(w.STOPPED)
            self.set_supply(0)

    def trip(self, guard, value, at=None):
        self.tripped |= 1 << guard
        self.armed = False
        if self.scheduled is not None:
            self.event(w.E_TRIPPED, struct.pack("<Bi", guard, value), at, self.run)
            self.end_run(w.BY_GUARD)
        else:
            self.event(w.E_TRIPPED, struct.pack("<Bi", guard, value), at, 0)
        if guard in (w.G_SUPPLY, w.G_TEMPERATURE) and self.supply_mv:
            self.set_supply(0)
        self.settle_state()

    def ahead(self):
        """Seconds of wall time that the run is ahead of what it may be."""
        run = self.scheduled
        speed = 1.0 if self.real_time else WATCH_SPEED if not run.drive else 1e9
        return (self.now_us - run.begun) * 1e-6 / speed - (self.wall() - self.run_wall)

    def advance(self):
        """One chunk of the run that is on."""
        run = self.scheduled
        until = self.now_us + (BLOCK_US if self.real_time else FAST_CHUNK_US)
        if run.longest:
            until = min(until, run.begun + run.longest)
        values, reached, ended, trip, now = self.plant.advance(self.now_us, until, run)
        for at, segment, passed in reached:
            self.event(w.E_SEGMENT, struct.pack("<BH", segment, passed), at, run.number)
        self.now_us = now
        self.hold(run, values)
        if trip is not None:
            self.trip(*trip)
        elif ended or (run.longest and now >= run.begun + run.longest):
            self.end_run(w.COMPLETE)

    def hold(self, run, values, last=False):
        """Puts scans into blocks; a block is closed when full, 20 ms old, and at the end."""
        if values is not None and values[0].size:
            if run.held is None:
                run.held, run.block_first = values, run.first
            else:
                run.held = [np.concatenate([a, b]) for a, b in zip(run.held, values)]
            run.first += values[0].size * run.period
        while run.held is not None:
            run.chosen = run.chosen or [k for k in range(len(self.plant.channels)) if run.mask >> k & 1]
            width = sum(np.dtype(self.plant.channels[k].form).itemsize for k in run.chosen)
            most = max(1, min((1016 - 28) // width, max(1, BLOCK_US // run.period)))
            if run.held[0].size < most and not last:
                return
            rest = [v[most:] for v in run.held]
            run.held = [v[:most] for v in run.held]
            self.send_block(run)
            run.block_first += most * run.period
            run.held = rest if rest[0].size else None

    def end_run(self, cause):
        run = self.scheduled
        if run is None:
            return
        self.hold(run, None, last=True)
        self.scheduled = None
        self.plant.end(self.now_us)
        if cause != w.COMPLETE or run.drive:
            self.armed = False
        self.event(w.E_ENDED, struct.pack("<BI", cause, self.blocks), run=run.number)
        self.wall_then = self.wall()
        self.settle_state()


class Run:
    """A run that is on: what it samples and what is held for the next block."""

    def __init__(self, number, period, mask, drive, longest, begun):
        self.number, self.period, self.mask, self.drive, self.longest = number, period, mask, drive, longest
        self.begun = self.first = self.block_first = begun
        self.chosen = [k for k in range(16) if mask >> k & 1]
        self.held, self.told = None, False
