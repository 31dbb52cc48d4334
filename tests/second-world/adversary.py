"""Bad rigs and bad links: what can go wrong between a host and a rig while a part is tested.

Each quirk is a name, some with a value: `end-at-once`, `estop=SECONDS`, `guard=SECONDS` (over-current in a run), `close=SECONDS`,
`close-after-run=MILLISECONDS` (after the end of a run), `damage=RATE` (share of bytes, both ways), `late-events=MILLISECONDS`,
`scale=KIND` (huge, tiny, negative, offset, zero, contradicting), `refuse-programs`, `refuse-inputs`, `refuse-supply`,
`sag=SECONDS`, `supply-late=SECONDS`, `mute=SECONDS`, `lost-blocks=SHARE`. Times are wall seconds of the session, but those of
sag and supply-late are the rig's.
"""

import wire as w
from serve import NoQuirks

SCALES = ("huge", "tiny", "negative", "offset", "zero", "contradicting")


class Quirks(NoQuirks):
    def __init__(self, rng, **named):
        self.rng, self.named = rng, named
        self.ended_at, self.supply_on, self.done = None, None, set()

    @classmethod
    def parse(cls, words, rng):
        named = {}
        for word in words:
            name, _, value = word.partition("=")
            named[name] = value
        return cls(rng, **named)

    def value(self, name):
        return float(self.named[name])

    def prepare(self, rig):
        """What is wrong from the start."""
        self.rig = rig
        plant = rig.plant
        if "end-at-once" in self.named:
            rig.end_at_once = True
        if "refuse-inputs" in self.named:
            plant.capabilities &= ~16
        if "scale" in self.named:
            kind = self.named["scale"]
            channel = next(c for c in plant.channels if c.name == "rising")
            if kind == "contradicting":
                plant.periods = (100_000, 100)
                plant.travel_mdeg = (90_000, -2000)
                plant.supply_range = (5500, 3500)
            elif kind == "offset":
                channel.offset = 1e300
            elif kind == "negative":
                channel.scale, channel.offset = -channel.scale, 6.5536
            else:
                channel.scale = {"huge": 1e308, "tiny": 5e-324, "zero": 0.0}[kind]
                channel.counts = lambda values, c=channel: __import__("numpy").full(len(values), 20_000).astype(c.form)
        plain = rig.carry_out

        def carry_out(kind, request_id, payload):
            if kind == w.LOAD_PROGRAM and "refuse-programs" in self.named:
                return w.refusal(request_id, kind, w.OUT_OF_RANGE, 0)
            if kind == w.SET_SUPPLY and "refuse-supply" in self.named and payload != b"\0\0":
                return w.refusal(request_id, kind, w.OUT_OF_RANGE, 0)
            if kind == w.SET_SUPPLY and payload != b"\0\0" and self.supply_on is None:
                self.supply_on = rig.now_us * 1e-6
            return plain(kind, request_id, payload)

        rig.carry_out = carry_out
        if "sag" in self.named or "supply-late" in self.named:
            plant.supply_change = self.supply_change
        if "late-events" in self.named:
            event, late = rig.event, int(1000 * self.value("late-events"))

            def stamped_late(code, fields=b"", at=None, run=0):
                event(code, fields, (rig.now_us if at is None else at) + late, run)

            rig.event = stamped_late
        end_run = rig.end_run

        def noted(cause):
            if rig.scheduled is not None:
                self.ended_at = rig.wall()
            end_run(cause)

        rig.end_run = noted

    def supply_change(self, seconds):
        on = seconds - (self.supply_on if self.supply_on is not None else seconds)
        if "supply-late" in self.named and on < self.value("supply-late"):
            return 0.02
        if "sag" in self.named and on > self.value("sag"):
            return 0.93
        return 1.0

    def incoming(self, data):
        return self.damaged(data)

    def outgoing(self, frame):
        if "lost-blocks" in self.named and self.rng.random() < self.value("lost-blocks"):
            got = w.Deframer().feed(frame)
            if got and got[0][1] == w.BLOCK:
                return b""
        if "mute" in self.named and self.rig.wall() - self.opened > self.value("mute"):
            return b""
        return self.damaged(frame)

    def damaged(self, data):
        rate = float(self.named.get("damage", 0.0))
        if rate == 0.0:
            return data
        hit = self.rng.random(len(data)) < rate
        if not hit.any():
            return data
        out = bytearray(data)
        for i in hit.nonzero()[0]:
            out[i] = int(self.rng.integers(256))
        return bytes(out)

    opened = 0.0

    def closing(self, rig, opened):
        self.opened = opened

    def between(self, rig):
        since = rig.wall() - self.opened if self.opened else 0.0
        if "estop" in self.named and since > self.value("estop") and "estop" not in self.done:
            self.done.add("estop")
            rig.trip(w.G_STOP, 0)
        if "guard" in self.named and since > self.value("guard") and "guard" not in self.done and rig.scheduled is not None:
            self.done.add("guard")
            rig.trip(w.G_CURRENT, 9000)

    def closes_now(self, rig, opened):
        if "close" in self.named and rig.wall() - opened > self.value("close"):
            return True
        return ("close-after-run" in self.named and self.ended_at is not None
                and rig.wall() - self.ended_at > self.value("close-after-run") / 1000.0)


def sessions():
    """The sessions of the fixed sample: name and quirks. On a sound grip, or a sound body where the name says so."""
    out = [("a good rig", {}), ("end at once", {"end-at-once": ""}), ("emergency stop", {"estop": "0.6"}), ("guard in a run", {"guard": "0.5"}),
           ("link closed in a procedure", {"close": "0.7"}), ("link closed after a run", {"close-after-run": "20"}),
           ("damaged bytes, few", {"damage": "1e-6"}), ("damaged bytes, many", {"damage": "3e-4"}),
           ("events late", {"late-events": "300"}), ("programs refused", {"refuse-programs": ""}),
           ("loads refused", {"refuse-inputs": ""}), ("supply refused", {"refuse-supply": ""}), ("supply sags", {"sag": "6"}),
           ("supply late", {"supply-late": "4"}), ("mute", {"mute": "0.7"}), ("blocks lost", {"lost-blocks": "0.01"})]
    out += [(f"scale {k}", {"scale": k}) for k in SCALES]
    return out + [("body: emergency stop", {"estop": "2.5"}), ("body: link closed in a procedure", {"close": "3"}),
                  ("body: link closed after a run", {"close-after-run": "20"}), ("body: guard in a run", {"guard": "4"})]


# None of these says anything against the part; where the whole plan could not be done, nothing clears it either.
MUST_NOT = ("outside",)
MAY_BE_WITHIN = {"a good rig", "damaged bytes, few", "loads refused", "blocks lost", "scale negative", "supply late", "events late",
                 "supply sags"}


