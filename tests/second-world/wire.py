"""The wire of protocol/WIRE.md, version 2, from its text alone: CRC, stuffing, frames, payloads.

CRC-32/AUTOSAR and consistent overhead byte stuffing (Cheshire and Baker, IEEE/ACM Trans. Networking 7(2), 1999).
"""

import struct

import numba
import numpy as np

VERSION = 2
MAX_RAW, MAX_STUFFED = 1024, 1029

(IDENTIFY, DESCRIBE, CALIBRATION, STATUS, SET_SUPPLY, SET_INPUT, LOAD_PROGRAM, ARM, START, STOP, CLEAR_TRIP, HEARTBEAT,
 CLOCK_PING, SET_LOOP, SET_MAPPING) = range(1, 16)
BLOCK, EVENT, REFUSAL = 0x7D, 0x7E, 0x7F
(UNKNOWN, MALFORMED, WRONG_VERSION, OUT_OF_RANGE, UNTIMELY, GUARDED, STALE, NOT_CAPABLE, NO_SESSION) = range(1, 10)
RESTING, ARMED, WATCHING, DRIVING, TRIPPED = range(5)
(E_BOOTED, E_STARTED, E_SEGMENT, E_ENDED, E_TRIPPED, E_OVERRUN, E_SUPPLY, E_INPUT) = range(8)
COMPLETE, STOPPED, BY_GUARD, NEW_SESSION = range(4)
(G_STOP, G_LID, G_SILENCE, G_CURRENT, G_TRAVEL, G_SUPPLY, G_TEMPERATURE, G_STALL, G_HEAT, G_FOLLOWING) = range(10)
RAMP, HOLD, STEP, RELEASE, REPEAT, VOLTS, VOLTS_RAMP, BRAKE = range(8)


def _table():
    """Reflected table of the polynomial 0xF4ACFB13."""
    reflected = int(f"{0xF4ACFB13:032b}"[::-1], 2)
    rows = []
    for byte in range(256):
        value = byte
        for _ in range(8):
            value = (value >> 1) ^ (reflected if value & 1 else 0)
        rows.append(value)
    return np.array(rows, dtype=np.uint32)


TABLE = _table()


@numba.njit(cache=True)
def _crc(data, table):
    value = np.uint32(0xFFFFFFFF)
    for i in range(data.size):
        value = (value >> np.uint32(8)) ^ table[(value ^ np.uint32(data[i])) & np.uint32(0xFF)]
    return value ^ np.uint32(0xFFFFFFFF)


def crc(data):
    return int(_crc(np.frombuffer(bytes(data), dtype=np.uint8), TABLE)) if len(data) else 0


def stuff(data):
    out = bytearray()
    runs = bytes(data).split(b"\0")
    for number, run in enumerate(runs):
        last = number == len(runs) - 1
        while len(run) >= 254:
            out += b"\xff" + run[:254]
            run = run[254:]
            if not run and last:
                return bytes(out)
        out += bytes([len(run) + 1]) + run
    return bytes(out)


def unstuff(data):
    """The bytes, or None when the stuffing is not valid."""
    out, at = bytearray(), 0
    while at < len(data):
        code = data[at]
        if code == 0 or at + code > len(data):
            return None
        piece = data[at + 1:at + code]
        if 0 in piece:
            return None
        out += piece
        at += code
        if code != 0xFF and at < len(data):
            out.append(0)
    return bytes(out) if data else None


def frame(kind, request_id, payload=b"", version=VERSION):
    """A frame as on the line, with its delimiter."""
    raw = struct.pack("<BBH", version, kind, request_id) + payload
    return stuff(raw + struct.pack("<I", crc(raw))) + b"\0"


class Deframer:
    """Bytes in, whole frames out: (version, kind, id, payload). Counts what it drops."""

    def __init__(self):
        self.held, self.skipping, self.dropped = bytearray(), False, 0

    def feed(self, data):
        frames = []
        pieces = bytes(data).split(b"\0")
        for number, piece in enumerate(pieces):
            ended = number < len(pieces) - 1
            if not self.skipping:
                self.held += piece
                if len(self.held) > MAX_STUFFED:
                    self.held.clear()
                    self.skipping = True
                    self.dropped += 1
            if ended:
                if not self.skipping and self.held:
                    got = self.read(bytes(self.held))
                    if got is None:
                        self.dropped += 1
                    else:
                        frames.append(got)
                self.held.clear()
                self.skipping = False
        return frames

    @staticmethod
    def read(stuffed):
        raw = unstuff(stuffed)
        if raw is None or not 8 <= len(raw) <= MAX_RAW or crc(raw[:-4]) != struct.unpack("<I", raw[-4:])[0]:
            return None
        version, kind, request_id = struct.unpack_from("<BBH", raw)
        return version, kind, request_id, raw[4:-4]


def text(value, size):
    encoded = value.encode()
    if len(encoded) > size:
        raise ValueError(f"{value!r} is longer than {size} bytes")
    return encoded.ljust(size, b"\0")


def refusal(request_id, kind, reason, detail=0):
    return frame(REFUSAL, request_id, struct.pack("<BBI", kind, reason, detail & 0xFFFFFFFF))


# Payload sizes of requests; programs and mappings vary.
SIZES = {IDENTIFY: 4, DESCRIBE: 1, CALIBRATION: 1, STATUS: 0, SET_SUPPLY: 2, SET_INPUT: 2, ARM: 0, START: 19, STOP: 0,
         CLEAR_TRIP: 0, HEARTBEAT: 0, CLOCK_PING: 8, SET_LOOP: 36}


def segments(payload):
    """Segments of LoadProgram as tuples (kind, from, times, a, b, c), or None when the payload does not fit."""
    if not payload or len(payload) != 1 + 16 * payload[0] or payload[0] > 40:
        return None
    out = []
    for n in range(payload[0]):
        kind, first, times, a, b, c = struct.unpack_from("<BBHiII", payload, 1 + 16 * n)
        used = {RAMP: (0, 0, 1, 1, 1), HOLD: (0, 0, 0, 1, 0), STEP: (0, 0, 1, 1, 0), RELEASE: (0, 0, 0, 1, 0), REPEAT: (1, 1, 0, 0, 0),
                VOLTS: (0, 0, 1, 1, 0), VOLTS_RAMP: (0, 0, 1, 1, 0), BRAKE: (0, 0, 0, 1, 0)}.get(kind)
        if used is None or any(v and not u for v, u in zip((first, times, a, b, c), used)):
            return None
        out.append((kind, first, times, a, b, c))
    return out
