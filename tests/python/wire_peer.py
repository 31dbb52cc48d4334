"""An independent reading of protocol/WIRE.md: checks the test vectors, and drives a live rig.

    python wire_peer.py vectors PATH/vectors.json
    python wire_peer.py drive tcp:HOST:PORT
    python wire_peer.py drive pty:PATH

It follows the tables of the specification and shares no code with the Rust sources; stuffing and CRC are those of published
packages. Its author has also seen the Rust, so it is a second reading, not a blind one. Any breach of the specification ends it
with a message and exit status 1. It judges the wire, not the part on the rig.
"""

import json
import math
import os
import random
import select
import socket
import struct
import sys
import time

from cobs import cobs
from crccheck.crc import Crc32Autosar

VERSION = 2
MAX_RAW = 1024
MAX_STUFFED = 1029

IDENTIFY, DESCRIBE_CHANNEL, READ_CALIBRATION, READ_STATUS, SET_SUPPLY, SET_INPUT, LOAD_PROGRAM = range(1, 8)
ARM, START, STOP, CLEAR_TRIP, HEARTBEAT, CLOCK_PING, SET_LOOP, SET_MAPPING = range(8, 16)
SAMPLES, EVENT, REFUSAL, REPLY = 0x7D, 0x7E, 0x7F, 0x80
UNKNOWN, MALFORMED, WRONG_VERSION, OUT_OF_RANGE, UNTIMELY, GUARDED, STALE, NOT_CAPABLE, NO_SESSION = range(1, 10)
RESTING, ARMED, WATCHING, DRIVING, TRIPPED = range(5)
BOOTED, RUN_STARTED, SEGMENT_REACHED, RUN_ENDED, GUARD_TRIPPED, OVERRUN, SUPPLY_SET, INPUT_SET = range(8)
COMPLETE, STOPPED, BY_GUARD, NEW_SESSION = range(4)
LINK_SILENCE = 2
ENCODINGS = {0: "h", 1: "H", 2: "i"}


class Breach(Exception):
    """The other side does not do what the specification says."""


class Unfit(Exception):
    """A payload that does not fit its kind."""


def check(condition, message):
    if not condition:
        raise Breach(message)


# --- Frames -----------------------------------------------------------------------------------------------------------


def crc(data):
    return Crc32Autosar.calc(data)


def raw_frame(kind, ident, payload=b"", version=VERSION):
    body = struct.pack("<BBH", version, kind, ident) + payload
    return body + struct.pack("<I", crc(body))


def line_frame(kind, ident, payload=b"", version=VERSION):
    return cobs.encode(raw_frame(kind, ident, payload, version)) + b"\0"


class Deframer:
    """Collects bytes up to a delimiter; skips to the next one after an overlong frame."""

    def __init__(self):
        self.held = bytearray()
        self.skipping = False
        self.drops = dict(too_long=0, too_short=0, stuffing=0, crc=0, bytes=0)

    def push(self, data):
        """The whole frames, as (version, kind, id, payload, stuffed bytes)."""
        frames = []
        for byte in data:
            if byte == 0:
                if not self.skipping and self.held:
                    frame = self._open(bytes(self.held))
                    if frame:
                        frames.append(frame)
                self.held.clear()
                self.skipping = False
            elif self.skipping:
                self.drops["bytes"] += 1
            else:
                self.held.append(byte)
                if len(self.held) > MAX_STUFFED:
                    self._drop("too_long", len(self.held))
                    self.held.clear()
                    self.skipping = True
        return frames

    def _drop(self, cause, size):
        self.drops[cause] += 1
        self.drops["bytes"] += size

    def _open(self, stuffed):
        try:
            raw = cobs.decode(stuffed)
        except cobs.DecodeError:
            return self._drop("stuffing", len(stuffed))
        if len(raw) > MAX_RAW:
            return self._drop("too_long", len(stuffed))
        if len(raw) < 8:
            return self._drop("too_short", len(stuffed))
        if crc(raw[:-4]) != struct.unpack("<I", raw[-4:])[0]:
            return self._drop("crc", len(stuffed))
        version, kind, ident = struct.unpack("<BBH", raw[:4])
        return version, kind, ident, raw[4:-4], stuffed


# --- Payloads ---------------------------------------------------------------------------------------------------------


class Fields:
    """Reads one payload field by field, at the offsets that the specification's tables give."""

    def __init__(self, payload):
        self.payload = payload
        self.out = {}

    def size(self, expected):
        if len(self.payload) != expected:
            raise Unfit(f"{len(self.payload)} bytes, not {expected}")
        return self

    def number(self, name, offset, code):
        try:
            value = struct.unpack_from("<" + code, self.payload, offset)[0]
        except struct.error as short:
            raise Unfit(str(short)) from short
        if code == "d" and not math.isfinite(value):
            raise Unfit(f"{name} is not finite")
        self.out[name] = value
        return self

    def code(self, name, offset, highest, lowest=0):
        self.number(name, offset, "B")
        if not lowest <= self.out[name] <= highest:
            raise Unfit(f"{name} {self.out[name]} is not assigned")
        return self

    def flag(self, name, offset):
        self.code(name, offset, 1)
        self.out[name] = self.out[name] == 1
        return self

    def two_flags(self, low, high, offset):
        self.code("flags", offset, 3)
        flags = self.out.pop("flags")
        self.out[low], self.out[high] = bool(flags & 1), bool(flags & 2)
        return self

    def text(self, name, offset, size):
        text, _, rest = self.payload[offset : offset + size].partition(b"\0")
        if any(rest):
            raise Unfit(f"{name} goes on after its end")
        try:
            self.out[name] = text.decode()
        except UnicodeDecodeError as wrong:
            raise Unfit(f"{name} is not UTF-8") from wrong
        return self

    def require(self, condition, message):
        if not condition(self.out):
            raise Unfit(message)
        return self


SEGMENT_FIELDS = {
    0: ("to_mdeg", "speed_mdeg_s", "accel_mdeg_s2"),
    1: (None, "us", None),
    2: ("to_mdeg", "us", None),
    3: (None, "us", None),
    4: (None, None, None),
    5: ("mv", "us", None),
    6: ("to_mv", "us", None),
    7: (None, "us", None),
}


def segment(data):
    kind, start, times, *numbers = struct.unpack("<BBHiII", data)
    if kind not in SEGMENT_FIELDS:
        raise Unfit(f"segment kind {kind}")
    out = {"kind": kind}
    if kind == 4:
        out.update({"from": start, "times": times})
    elif start or times:
        raise Unfit("a field is set that the segment does not use")
    for name, value in zip(SEGMENT_FIELDS[kind], numbers):
        if name:
            out[name] = value
        elif value:
            raise Unfit("a field is set that the segment does not use")
    return out


def pack_segment(fields):
    numbers = [fields.get(name, 0) if name else 0 for name in SEGMENT_FIELDS[fields["kind"]]]
    return struct.pack("<BBHiII", fields["kind"], fields.get("from", 0), fields.get("times", 0), *numbers)


def program_fields(payload):
    if not payload or payload[0] > 40 or len(payload) != 1 + 16 * payload[0]:
        raise Unfit("segments")
    return {"segments": [segment(payload[at : at + 16]) for at in range(1, len(payload), 16)]}


def identity_fields(payload):
    f = Fields(payload).size(95).number("session", 0, "I").number("boot", 4, "I")
    f.text("model", 8, 24).text("serial", 32, 16).text("firmware", 48, 16)
    f.number("capabilities", 64, "I").number("channels", 68, "B")
    f.number("min_period_us", 69, "I").number("max_period_us", 73, "I")
    f.number("min_supply_mv", 77, "H").number("max_supply_mv", 79, "H")
    f.number("min_travel_mdeg", 81, "i").number("max_travel_mdeg", 85, "i").number("max_speed_mdeg_s", 89, "I")
    f.number("max_drive_mv", 93, "H")
    return f.out


def channel_fields(payload):
    f = Fields(payload).size(48).code("index", 0, 15).code("encoding", 1, 2).code("unit", 2, 3)
    f.two_flags("has_load", "has_pull_down", 3).text("name", 4, 16)
    f.number("scale", 20, "d").number("offset", 28, "d").number("resolution", 36, "d").number("filter_us", 44, "I")
    return f.require(lambda o: o["scale"] != 0 and o["resolution"] >= 0, "scale 0 or resolution below 0").out


def calibration_fields(payload):
    f = Fields(payload).size(45).number("channel", 0, "B").number("gain_uncertainty", 1, "d")
    f.number("offset_uncertainty", 9, "d").number("day", 17, "I").text("certificate", 21, 24)
    return f.require(lambda o: o["gain_uncertainty"] >= 0 and o["offset_uncertainty"] >= 0, "below 0").out


def status_fields(payload):
    f = Fields(payload).size(38).number("rig_us", 0, "Q").code("state", 8, 4)
    f.number("tripped", 9, "H").number("present", 11, "H").number("run", 13, "I").number("supply_mv", 17, "H")
    f.number("overruns", 19, "I").number("frames_dropped", 23, "I").number("blocks", 27, "I")
    return f.number("loads", 31, "H").number("pull_downs", 33, "H").flag("drive_on", 35).number("heat_permille", 36, "H").out


def event_fields(payload):
    f = Fields(payload).number("number", 0, "I").number("rig_us", 4, "Q").number("run", 12, "I").code("code", 16, 7)
    match f.out["code"]:
        case 0 | 1:
            f.size(17)
        case 2:
            f.size(20).number("segment", 17, "B").number("pass", 18, "H")
        case 3:
            f.size(22).code("cause", 17, 3).number("blocks", 18, "I")
        case 4:
            f.size(22).code("guard", 17, 9).number("value", 18, "i")
        case 5:
            f.size(21).number("scans", 17, "I")
        case 6:
            f.size(19).number("millivolts", 17, "H")
        case 7:
            f.size(19).number("channel", 17, "B").two_flags("load", "pull_down", 18)
    return f.out


def start_fields(payload):
    f = Fields(payload).size(19).number("run", 0, "I").number("period_us", 4, "I").number("channels", 8, "H")
    return f.flag("drive", 10).number("max_us", 11, "Q").out


def block_fields(payload, encodings=None):
    f = Fields(payload).number("run", 0, "I").number("number", 4, "I").number("first_us", 8, "Q")
    f.number("period_us", 16, "I").number("scans", 20, "H").number("channels", 22, "H")
    f.number("overrun_before", 24, "I").require(lambda o: o["scans"] and o["channels"], "no scans or no channels")
    out = f.out
    if encodings is not None:
        at, out["columns"] = 28, []
        for channel in (c for c in range(16) if out["channels"] >> c & 1):
            code = f"<{out['scans']}{ENCODINGS[encodings[channel]]}"
            if at + struct.calcsize(code) > len(payload):
                raise Unfit("columns are short")
            out["columns"].append({"channel": channel, "counts": list(struct.unpack_from(code, payload, at))})
            at += struct.calcsize(code)
        if at != len(payload):
            raise Unfit("columns do not fill the payload")
    return out


def numbers(size, *names):
    def read(payload):
        f = Fields(payload).size(size)
        for name, offset, code in names:
            f.number(name, offset, code)
        return f.out

    return read


def mapping_fields(payload):
    count = payload[0] if payload else 25
    if count > 24 or len(payload) != 1 + 8 * count:
        raise Unfit("points do not fill the payload")
    point = struct.Struct("<ii")
    return {"points": [dict(zip(("grip_ppm", "plate_mdeg"), point.unpack_from(payload, 1 + 8 * k))) for k in range(count)]}


DONE = numbers(8, ("rig_us", 0, "Q"))
EMPTY = numbers(0)
READERS = {
    IDENTIFY: numbers(4, ("session", 0, "I")),
    DESCRIBE_CHANNEL: numbers(1, ("channel", 0, "B")),
    READ_CALIBRATION: numbers(1, ("channel", 0, "B")),
    READ_STATUS: EMPTY,
    SET_SUPPLY: numbers(2, ("millivolts", 0, "H")),
    SET_INPUT: lambda p: Fields(p).size(2).number("channel", 0, "B").two_flags("load", "pull_down", 1).out,
    LOAD_PROGRAM: program_fields,
    ARM: EMPTY,
    START: start_fields,
    STOP: EMPTY,
    CLEAR_TRIP: EMPTY,
    HEARTBEAT: EMPTY,
    CLOCK_PING: numbers(8, ("host_stamp", 0, "Q")),
    SET_LOOP: numbers(
        36,
        ("closed_ppm", 0, "i"),
        ("open_ppm", 4, "i"),
        ("travel_mdeg", 8, "I"),
        ("kp_uv_mdeg", 12, "I"),
        ("ki_uv_mdeg_s", 16, "I"),
        ("kd_nv_s_mdeg", 20, "I"),
        ("speed_filter_us", 24, "I"),
        ("dead_mdeg", 28, "I"),
        ("current_ma", 32, "I"),
    ),
    SET_MAPPING: mapping_fields,
    REPLY | IDENTIFY: identity_fields,
    REPLY | DESCRIBE_CHANNEL: channel_fields,
    REPLY | READ_CALIBRATION: calibration_fields,
    REPLY | READ_STATUS: status_fields,
    REPLY | CLOCK_PING: numbers(16, ("host_stamp", 0, "Q"), ("rig_us", 8, "Q")),
    REFUSAL: lambda p: Fields(p).size(6).number("request", 0, "B").code("reason", 1, 9, 1).number("detail", 2, "I").out,
    EVENT: event_fields,
    SAMPLES: block_fields,
}
for _kind in (SET_SUPPLY, SET_INPUT, LOAD_PROGRAM, ARM, START, STOP, CLEAR_TRIP, HEARTBEAT, SET_LOOP, SET_MAPPING):
    READERS[REPLY | _kind] = DONE


# --- Vectors ----------------------------------------------------------------------------------------------------------


def one_frame(line):
    frames = Deframer().push(line)
    check(len(frames) == 1, f"{line.hex()} is {len(frames)} frames, not one")
    return frames[0]


def check_message(vector):
    raw, line = bytes.fromhex(vector["raw"]), bytes.fromhex(vector["line"])
    version, kind, ident, payload, _ = one_frame(line)
    check((version, kind, ident) == (VERSION, vector["kind"], vector["id"]), f"{vector['name']}: header")
    check(raw_frame(kind, ident, payload) == raw, f"{vector['name']}: bytes before stuffing")
    check(line_frame(kind, ident, payload) == line, f"{vector['name']}: bytes on the line")
    fields = vector["fields"]
    got = block_fields(payload, fields["encodings"]) if kind == SAMPLES else READERS[kind](payload)
    if kind == SAMPLES:
        got["encodings"] = fields["encodings"]
    check(got == fields, f"{vector['name']}: read {got}, stated {fields}")
    if kind == LOAD_PROGRAM:
        packed = b"".join(pack_segment(s) for s in fields["segments"])
        check(packed == payload[1:], f"{vector['name']}: segments as packed here")


def check_undecodable(vector):
    version, kind, _, payload, _ = one_frame(bytes.fromhex(vector["line"]))
    fault = None
    if version != VERSION:
        fault = "version"
    elif kind not in READERS:
        fault = "unknown"
    else:
        try:
            READERS[kind](payload)
        except Unfit:
            fault = "malformed"
    check(fault == vector["fault"], f"{vector['name']}: {fault}, stated {vector['fault']}")


def check_stream(vector):
    deframer = Deframer()
    frames = [[kind, ident, payload.hex()] for _, kind, ident, payload, _ in deframer.push(bytes.fromhex(vector["stream"]))]
    check(frames == vector["frames"], f"{vector['name']}: found {frames}")
    check(deframer.drops == vector["drops"], f"{vector['name']}: dropped {deframer.drops}")


def check_vectors(path):
    with open(path, encoding="utf-8") as file:
        vectors = json.load(file)
    check(vectors["version"] == VERSION, "vectors of another version")
    for vector in vectors["crc"]:
        check(f"{crc(bytes.fromhex(vector['bytes'])):08x}" == vector["crc"], f"CRC of {vector['bytes']}")
    for vector in vectors["cobs"]:
        raw, stuffed = bytes.fromhex(vector["raw"]), bytes.fromhex(vector["stuffed"])
        check(cobs.encode(raw) + b"\0" == stuffed, f"stuffing of {vector['raw']}")
        check(cobs.decode(stuffed[:-1]) == raw, f"unstuffing of {vector['stuffed']}")
    for section, judge in (("messages", check_message), ("undecodable", check_undecodable), ("streams", check_stream)):
        check(vectors[section], f"no {section}")
        for vector in vectors[section]:
            judge(vector)
    kinds = {vector["kind"] for vector in vectors["messages"]}
    check(kinds == set(READERS), f"kinds without a vector: {set(READERS) ^ kinds}")
    print(f"{sum(len(v) for v in vectors.values() if isinstance(v, list))} vectors hold")


# --- A live rig -------------------------------------------------------------------------------------------------------


class Link:
    """Bytes to and from a rig."""

    def __init__(self, address):
        scheme, _, rest = address.partition(":")
        if scheme == "tcp":
            host, _, port = rest.rpartition(":")
            self.socket = socket.create_connection((host, int(port)), timeout=5)
            self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.handle = self.socket.fileno()
        elif scheme in ("pty", "serial"):
            import tty

            self.handle = os.open(rest, os.O_RDWR | os.O_NOCTTY)
            tty.setraw(self.handle)
        else:
            raise SystemExit(f"wire_peer: {address}: want tcp:HOST:PORT or pty:PATH")

    def write(self, data):
        while data:
            data = data[os.write(self.handle, data) :]

    def read(self, seconds):
        ready, _, _ = select.select([self.handle], [], [], max(0.0, seconds))
        if not ready:
            return b""
        data = os.read(self.handle, 65536)
        check(data, "the rig closed the link")
        return data


class Host:
    """Request ids, answers, and everything the rig says by itself."""

    def __init__(self, link):
        self.link = link
        self.deframer = Deframer()
        self.ident = random.randrange(65536)
        self.answers = []
        self.events = []
        self.blocks = []
        self.encodings = {}

    def listen(self, seconds):
        for frame in self.deframer.push(self.link.read(seconds)):
            version, kind, ident, payload, _ = frame
            check(version == VERSION, f"a frame of version {version}")
            check(kind in READERS and kind >= SAMPLES, f"the rig sent kind {kind:#x}")
            if kind == EVENT:
                check(ident == 0, "an event with an id")
                self.take_event(event_fields(payload))
            elif kind == SAMPLES:
                check(ident == 0, "a block with an id")
                self.blocks.append(block_fields(payload, self.encodings))
            else:
                self.answers.append(frame)

    def take_event(self, event):
        if self.events and event["code"] != BOOTED:
            expected = self.events[-1]["number"] + 1
            check(event["number"] == expected, f"event {event['number']} where {expected} was due")
        self.events.append(event)

    def await_answer(self, kind, ident, seconds):
        """The answer's (kind, payload, stuffed bytes), or None."""
        end = time.monotonic() + seconds
        while True:
            for frame in self.answers:
                _, got, got_ident, payload, stuffed = frame
                if got_ident == ident and (got == kind | REPLY or (got == REFUSAL and payload[0] == kind)):
                    self.answers.remove(frame)
                    return got, payload, stuffed
            left = end - time.monotonic()
            if left <= 0:
                return None
            self.listen(left)

    def next_id(self):
        self.ident = (self.ident + 1) % 65536
        return self.ident

    def exchange(self, kind, payload=b"", ident=None, version=VERSION):
        """Sends a request, again when it stays unanswered; the answer's kind, fields, and bytes."""
        ident = self.next_id() if ident is None else ident
        for _ in range(5):
            self.link.write(line_frame(kind, ident, payload, version))
            answer = self.await_answer(kind, ident, 1.0)
            if answer:
                return answer[0], READERS[answer[0]](answer[1]), answer[2]
        raise Breach(f"request {kind:#x} with id {ident} stays unanswered")

    def ask(self, kind, payload=b"", ident=None):
        got, fields, _ = self.exchange(kind, payload, ident)
        check(got == kind | REPLY, f"request {kind:#x} was refused: {fields}")
        return fields

    def provoke(self, what, reason, detail, kind, payload=b"", ident=None, version=VERSION):
        got, fields, _ = self.exchange(kind, payload, ident, version)
        check(got == REFUSAL, f"{what} was accepted")
        check(fields["reason"] == reason, f"{what}: refused for reason {fields['reason']}, not {reason}")
        check(detail is None or fields["detail"] == detail, f"{what}: detail {fields['detail']}, not {detail}")

    def status(self):
        return self.ask(READ_STATUS, ident=0)

    def await_event(self, code, since, seconds, beat=False):
        """The first event of that code at or after position `since`; with `beat`, heartbeats every 50 ms."""
        end = time.monotonic() + seconds
        while True:
            for event in self.events[since:]:
                if event["code"] == code:
                    return event
            left = end - time.monotonic()
            check(left > 0, f"no event {code} within {seconds} s; events: {self.events[since:]}")
            if beat:
                self.ask(HEARTBEAT, ident=0)
            self.listen(min(left, 0.05))


def open_session(host):
    host.link.write(b"\0")
    session = random.randrange(1 << 32)
    identity = host.ask(IDENTIFY, struct.pack("<I", session))
    check(identity["session"] == session, "the session number is not echoed")
    check(1 <= identity["channels"] <= 16, f"{identity['channels']} channels")
    check(identity["min_period_us"] <= identity["max_period_us"], "no sampling period is allowed")
    channels = {}
    for number in range(identity["channels"]):
        channel = host.ask(DESCRIBE_CHANNEL, bytes([number]))
        check(channel["index"] == number, f"entry {number} says it is {channel['index']}")
        calibration = host.ask(READ_CALIBRATION, bytes([number]))
        check(calibration["channel"] == number, f"calibration {number} is of {calibration['channel']}")
        check(channel["name"] and channel["name"] not in channels, f"channel name {channel['name']!r}")
        host.encodings[number] = channel["encoding"]
        channels[channel["name"]] = channel
    print(f"{identity['model']} {identity['serial']}, {identity['firmware']}: {', '.join(channels)}")
    return identity, channels


def try_refusals(host, identity):
    host.provoke("an unknown kind", UNKNOWN, 0x20, 0x20)
    host.provoke("an Arm with a payload", MALFORMED, 3, ARM, b"abc")
    host.provoke("a short Start", MALFORMED, 18, START, bytes(18))
    host.provoke("another version", WRONG_VERSION, VERSION, ARM, version=VERSION + 1)
    host.provoke("a channel that is not there", OUT_OF_RANGE, 0, DESCRIBE_CHANNEL, bytes([identity["channels"]]))
    too_high = identity["max_supply_mv"] + 1
    host.provoke("too high a supply", OUT_OF_RANGE, 0, SET_SUPPLY, struct.pack("<H", too_high))
    drive = struct.pack("<IIHBQ", random.randrange(1, 1 << 32), identity["max_period_us"], 1, 1, 0)
    host.provoke("a drive without an arm", UNTIMELY, RESTING, START, drive)
    host.provoke("an empty program", OUT_OF_RANGE, 0, LOAD_PROGRAM, b"\0")
    bad = [{"kind": 1, "us": 1000}, {"kind": 2, "to_mdeg": identity["max_travel_mdeg"] + 1, "us": 1000}]
    host.provoke("a step beyond the travel", OUT_OF_RANGE, 1, LOAD_PROGRAM, pack_program(bad))
    try_the_window(host)


def try_the_window(host):
    newest = host.next_id()
    first = host.exchange(SET_SUPPLY, struct.pack("<H", 0), newest)
    again = host.exchange(SET_SUPPLY, struct.pack("<H", 0), newest)
    check(first[2] == again[2], "a repeated request is not answered with the same bytes")
    host.provoke("other content under the newest id", STALE, newest, STOP, ident=newest)
    host.provoke("the id before the newest", STALE, newest, STOP, ident=(newest - 1) % 65536)
    host.provoke("an id half way round", STALE, newest, STOP, ident=(newest + 32768) % 65536)
    host.ask(HEARTBEAT, ident=(newest - 1) % 65536)
    check(host.ask(CLOCK_PING, struct.pack("<Q", 1 << 63), ident=newest)["host_stamp"] == 1 << 63, "host stamp not echoed")
    refused = host.next_id()
    one = host.exchange(SET_SUPPLY, struct.pack("<H", 65535), refused)
    two = host.exchange(SET_SUPPLY, struct.pack("<H", 65535), refused)
    check(one[0] == REFUSAL and one[2] == two[2], "a repeated refusal is not the same bytes")
    # Far ahead but still new, so that the ids wrap sooner or later.
    host.ident = (host.ident + 32766) % 65536
    host.ask(STOP)


def try_noise(host):
    before = host.status()["frames_dropped"]
    noise = random.Random(5)
    host.link.write(bytes(noise.randrange(1, 256) for _ in range(3000)) + b"\0")
    host.link.write(b"\0\0" + line_frame(ARM, host.next_id())[:-3] + b"\x55\0")
    # What only a rig sends must not be answered: an answer would come before the status'.
    host.link.write(line_frame(REPLY | ARM, 7, bytes(8)) + line_frame(REFUSAL, 7, bytes(6)))
    after = host.status()
    check(after["frames_dropped"] == before + 2, f"{after['frames_dropped'] - before} frames dropped, not 2")
    check(not host.answers, f"something was answered that should not be: {host.answers}")
    check(after["state"] == RESTING and not after["drive_on"], "noise changed the state")


def pack_program(segments):
    return bytes([len(segments)]) + b"".join(pack_segment(s) for s in segments)


def ramp_us(distance, speed, accel):
    seconds = distance / speed + speed / accel if distance >= speed**2 / accel else 2 * math.sqrt(distance / accel)
    return max(1000, math.ceil(seconds * 1e6))


def power_up(host, identity):
    level = identity["max_supply_mv"]
    since = len(host.events)
    done = host.ask(SET_SUPPLY, struct.pack("<H", level))
    event = host.await_event(SUPPLY_SET, since, 5)
    check(event["millivolts"] == level and event["rig_us"] == done["rig_us"], f"supply event {event} for {done}")
    check(host.status()["supply_mv"] == level, "the status does not show the supply")
    # Settling goes by the rig's clock.
    while host.status()["rig_us"] < done["rig_us"] + 300_000:
        host.listen(0.02)


def new_run(host):
    while True:
        run = random.randrange(1, 1 << 32)
        if run != host.status()["run"]:
            return run


def start(host, run, identity, drive, period_us=1000):
    host.blocks.clear()
    mask = (1 << identity["channels"]) - 1
    return host.ask(START, struct.pack("<IIHBQ", run, period_us, mask, drive, 0))["rig_us"]


def drive_program(host, identity, channels):
    """One driven run; False when the link was silent for too long, as on a busy machine."""
    low, high = identity["min_travel_mdeg"], identity["max_travel_mdeg"]
    near, far = round(low + 0.3 * (high - low)), round(low + 0.6 * (high - low))
    speed, accel = min(60_000, identity["max_speed_mdeg_s"]), 600_000
    ramp = {"kind": 0, "speed_mdeg_s": speed, "accel_mdeg_s2": accel}
    hold = {"kind": 1, "us": 120_000}
    host.ask(LOAD_PROGRAM, pack_program([{**ramp, "to_mdeg": near}, {**ramp, "to_mdeg": far}, hold, {"kind": 4, "from": 0, "times": 1}]))
    host.ask(ARM)
    check(host.status()["state"] == ARMED, "armed is not the state after Arm")
    since, run = len(host.events), new_run(host)
    began = start(host, run, identity, drive=1)
    host.provoke("a program during a run", UNTIMELY, DRIVING, LOAD_PROGRAM, pack_program([hold]))
    ended = host.await_event(RUN_ENDED, since, 60, beat=True)
    if ended["cause"] == BY_GUARD and any(e.get("guard") == LINK_SILENCE for e in host.events[since:]):
        host.ask(CLEAR_TRIP)
        return False
    check(ended["cause"] == COMPLETE, f"the run ended for cause {ended['cause']}: {host.events[since:]}")
    check(host.status()["state"] == RESTING and not host.status()["drive_on"], "not at rest after the program")
    reached = [e for e in host.events[since:] if e["code"] == SEGMENT_REACHED]
    order = [(e["segment"], e["pass"]) for e in reached]
    check(order == [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)], f"segments in the order {order}")
    check(all(e["run"] == run for e in reached), "segment events of another run")
    check(reached[0]["rig_us"] == began, "the first segment does not begin with the run")
    whole = ramp_us(far - near, speed, accel)
    for at in (1, 4):
        took = reached[at + 1]["rig_us"] - reached[at]["rig_us"]
        check(abs(took - whole) <= 1, f"a ramp took {took} us, not {whole}")
    took = reached[3]["rig_us"] - reached[2]["rig_us"]
    check(took == hold["us"], f"a hold took {took} us")
    check_blocks(host, run, began, ended)
    check_values(host, channels, reached, hold["us"], far)
    return True


def check_blocks(host, run, began, ended):
    """Numbering and time stamps without a gap from the run's beginning to its end."""
    blocks = host.blocks
    check(blocks and len(blocks) == ended["blocks"], f"{len(blocks)} blocks, RunEnded says {ended['blocks']}")
    due = began
    for number, block in enumerate(blocks):
        check(block["run"] == run and block["number"] == number, f"block {block['number']} of run {block['run']}")
        check(block["first_us"] - due == block["overrun_before"] * block["period_us"], f"block {number}: time stamp")
        due = block["first_us"] + block["scans"] * block["period_us"]
    check(due - blocks[-1]["period_us"] <= ended["rig_us"], "a scan after the end of the run")
    check(ended["rig_us"] - due <= blocks[-1]["period_us"], "scans are missing at the end")


def column(blocks, channel):
    """(time, value) of every scan of one channel."""
    for block in blocks:
        counts = next(c["counts"] for c in block["columns"] if c["channel"] == channel["index"])
        for number, count in enumerate(counts):
            yield block["first_us"] + number * block["period_us"], channel["offset"] + channel["scale"] * count


def check_values(host, channels, reached, hold_us, far):
    if all(name in channels for name in ("rising", "falling", "supply")):
        rising, falling, supply = (list(column(host.blocks, channels[n])) for n in ("rising", "falling", "supply"))
        worst = max(abs((r + f) / s - 1) for (_, r), (_, f), (_, s) in zip(rising, falling, supply))
        check(worst < 0.05, f"rising + falling is up to {worst:.1%} off the supply")
        print(f"{len(rising)} scans in {len(host.blocks)} blocks; rising + falling within {worst:.2%} of the supply")
    if "reference" in channels:
        end = reached[2]["rig_us"] + hold_us
        still = [v for t, v in column(host.blocks, channels["reference"]) if end - 20_000 <= t < end]
        check(still and all(abs(v - far / 1000) < 2 for v in still), f"held at {still[:3]}, not {far / 1000} deg")


def watch(host, identity):
    since, run = len(host.events), new_run(host)
    began = start(host, run, identity, drive=0, period_us=max(500, identity["min_period_us"]))
    check(host.status()["state"] == WATCHING, "not watching")
    while len(host.blocks) < 5:
        host.ask(HEARTBEAT, ident=0)
        host.listen(0.05)
    host.ask(STOP)
    ended = host.await_event(RUN_ENDED, since, 5)
    check(ended["cause"] == STOPPED, f"cause {ended['cause']} after Stop")
    check_blocks(host, run, began, ended)
    repeated = struct.pack("<IIHBQ", run, 1000, 1, 0, 0)
    host.provoke("the last run's number", UNTIMELY, RESTING, START, repeated)


def fall_silent(host, identity):
    """Link silence takes the drive off, and only a clear lets it be armed again."""
    host.ask(LOAD_PROGRAM, pack_program([{"kind": 1, "us": 60_000_000}]))
    host.ask(ARM)
    since, run = len(host.events), new_run(host)
    start(host, run, identity, drive=1)
    tripped = host.await_event(GUARD_TRIPPED, since, 5)
    check(tripped["guard"] == LINK_SILENCE, f"guard {tripped['guard']} tripped, not link silence")
    check(300_000 <= tripped["value"], f"tripped after {tripped['value']} us of silence")
    check(host.await_event(RUN_ENDED, since, 5)["cause"] == BY_GUARD, "the run did not end by the guard")
    status = host.status()
    check(status["state"] == TRIPPED and status["tripped"] == 1 << LINK_SILENCE, f"status {status}")
    check(not status["drive_on"], "the drive is on while tripped")
    host.provoke("an arm while tripped", GUARDED, 1 << LINK_SILENCE, ARM)
    host.ask(CLEAR_TRIP)
    check(host.status()["state"] == RESTING, "not at rest after ClearTrip")
    print(f"silence of {tripped['value']} us took the drive off")


def try_inputs(host, channels):
    for channel in channels.values():
        if channel["has_load"]:
            since = len(host.events)
            host.ask(SET_INPUT, bytes([channel["index"], 1]))
            event = host.await_event(INPUT_SET, since, 5)
            check((event["channel"], event["load"]) == (channel["index"], True), f"input event {event}")
            check(host.status()["loads"] == 1 << channel["index"], "the status does not show the load")
            host.ask(SET_INPUT, bytes([channel["index"], 0]))
            check(host.status()["loads"] == 0, "the load stays on")
        elif not channel["has_pull_down"]:
            host.provoke("a pull-down that is not there", OUT_OF_RANGE, 2, SET_INPUT, bytes([channel["index"], 2]))


def drive(address):
    host = Host(Link(address))
    identity, channels = open_session(host)
    try_refusals(host, identity)
    try_noise(host)
    try_inputs(host, channels)
    power_up(host, identity)
    # A machine so busy that this process is not heard for 300 ms is what the guard is for: then once more.
    check(any(drive_program(host, identity, channels) for _ in range(4)), "the link was silent in four runs")
    watch(host, identity)
    fall_silent(host, identity)
    host.ask(SET_SUPPLY, struct.pack("<H", 0))
    check(host.status()["supply_mv"] == 0, "the supply stays on")
    check(sum(host.deframer.drops.values()) == 0, f"frames from the rig were dropped: {host.deframer.drops}")
    print("the rig keeps to the specification")


def main(arguments):
    match arguments:
        case ["vectors", path]:
            check_vectors(path)
        case ["drive", address]:
            drive(address)
        case _:
            raise SystemExit(__doc__)


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except (Breach, Unfit, OSError) as failure:
        sys.exit(f"wire_peer: {failure}")
