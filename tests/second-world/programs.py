"""How a rig carries out a motion program (WIRE.md, section 7): one piece at a time, exact to the microsecond."""

import math

import numba
import numpy as np

import wire as w

SETPOINT = (w.RAMP, w.HOLD, w.STEP)


class Piece:
    """Part of one segment: `kind`, from `into_us` after its begin, `length_us` long. Angles in degrees, volts."""

    def __init__(self, kind, into_us, length_us, start, end, lasting_us, speed=0.0, acceleration=0.0):
        self.kind, self.into_us, self.length_us, self.start, self.end = kind, into_us, length_us, start, end
        self.lasting_us, self.speed, self.acceleration = lasting_us, speed, acceleration


def ramp_seconds(distance, speed, acceleration):
    if distance < speed * speed / acceleration:
        return 2.0 * math.sqrt(distance / acceleration)
    return distance / speed + speed / acceleration


def setpoints(piece, t_us):
    """Setpoints (deg) at times `t_us` after a piece's begin."""
    if piece.kind != w.RAMP:
        return np.full(t_us.size, piece.end)
    out = np.empty(t_us.size)
    _ramp(piece.start, piece.end, piece.speed, piece.acceleration, (piece.into_us + t_us) * 1e-6, out)
    return out


@numba.njit(cache=True)
def _ramp(start, end, speed, acceleration, t, out):
    for i in range(t.size):
        out[i] = ramp_at(start, end, speed, acceleration, t[i])


@numba.njit(cache=True)
def ramp_at(start, end, speed, acceleration, t):
    """Setpoint `t` seconds into a ramp."""
    distance = abs(end - start)
    if distance == 0.0:
        return end
    top = min(speed, math.sqrt(distance * acceleration))
    lasting = distance / top + top / acceleration
    if t >= lasting:
        return end
    rise = top / acceleration
    if t < rise:
        gone = 0.5 * acceleration * t * t
    elif t < lasting - rise:
        gone = top * (t - 0.5 * rise)
    else:
        gone = distance - 0.5 * acceleration * (lasting - t) ** 2
    return start + math.copysign(gone, end - start)


class Executor:
    """Walks through a program. `where()` gives the part's angle in degrees."""

    def __init__(self, segments, where):
        self.segments, self.where = segments, where
        self.number, self.into = 0, 0
        self.left = {n: s[2] for n, s in enumerate(segments) if s[0] == w.REPEAT}
        self.passes = dict.fromkeys(self.left, 0)
        self.setpoint = self.volts = None
        self.over = False
        self.fresh = True

    def enclosing_pass(self, number):
        for n in self.left:
            if self.segments[n][1] <= number < n:
                return self.passes[n]
        return 0

    def next_piece(self, room_us):
        """(piece, reached) where reached is (segment, pass) if a segment begins; None at the end of the program."""
        reached = None
        if self.fresh:
            while self.number < len(self.segments) and self.segments[self.number][0] == w.REPEAT:
                n = self.number
                if self.left[n] > 0:
                    self.left[n] -= 1
                    self.passes[n] += 1
                    self.number = self.segments[n][1]
                else:
                    self.left[n], self.passes[n] = self.segments[n][2], 0
                    self.number += 1
            if self.number >= len(self.segments):
                self.over = True
                return None
            self.begin_segment()
            reached = (self.number, self.enclosing_pass(self.number))
        length = min(room_us, self.lasting - self.into)
        piece = Piece(self.kind, self.into, length, self.start, self.end, self.lasting, self.speed, self.acceleration)
        self.into += length
        if self.into >= self.lasting:
            self.finish_segment()
        return piece, reached

    def begin_segment(self):
        kind, _, _, a, b, c = self.segments[self.number]
        self.kind, self.into, self.fresh = kind, 0, False
        self.speed = self.acceleration = 0.0
        if kind in SETPOINT:
            self.start = self.setpoint if self.setpoint is not None else self.where()
            self.end = self.start if kind == w.HOLD else a / 1000.0
            self.lasting = b
            if kind == w.RAMP:
                self.speed, self.acceleration = b / 1000.0, c / 1000.0
                seconds = ramp_seconds(abs(self.end - self.start), self.speed, self.acceleration)
                self.lasting = max(1000, math.ceil(seconds * 1e6 - 1e-6))
        else:
            self.start = self.volts if kind == w.VOLTS_RAMP and self.volts is not None else 0.0
            self.end = a / 1000.0 if kind in (w.VOLTS, w.VOLTS_RAMP) else 0.0
            self.lasting = b

    def finish_segment(self):
        self.setpoint = self.end if self.kind in SETPOINT else None
        self.volts = self.end if self.kind in (w.VOLTS, w.VOLTS_RAMP) else None
        self.number += 1
        self.fresh = True
