"""Judges stored vehicle checks anew, with no code in common: expected values from its own tables, probabilities by Monte Carlo.

    python vehicle.py CHECK.json ...

Readings are drawn as a data sheet's bounds mean them (uniform, JCGM 101:2008), not as normal distributions; where the share beyond a limit
lies too near to 95 % for either to be right, the verdict is left out and counted. It exits with a traceback at the first that differs.
"""

import json
import math
import random
import re
import sys

DRAWS = 40_000
# mOhm/m at 20 degrees Celsius: VDE 0295 fine strand, IEC 60228 class 5.
METRIC = {"0.14": 134, "0.22": 96, "0.25": 76, "0.34": 53, "0.5": 39, "0.75": 26, "1": 19.5, "1.5": 13.3, "2.5": 7.98}
# mOhm/m, nominal: ASTM B258.
GAUGES = {"18": 20.948, "20": 33.308, "22": 52.962, "24": 84.213}
PREFIX = {"m": 1e-3, "k": 1e3, "M": 1e6, "": 1.0}
# Share beyond a limit within which uniform and normal distributions may decide differently.
NEAR = 0.04
# Whole-bench sheet of the example, ratios of supply.
RATIOS = {"first": (0.1, 0.9), "second": (0.9, 0.1)}


def ohms_of_wire(wire):
    number, unit = re.fullmatch(r"([0-9.]+)(mm2|AWG)", wire["size"]).groups()
    table = METRIC if unit == "mm2" else GAUGES
    return table[number] / 1000 * wire["length_m"] * (1 + 0.004 * (wire["temperature_c"] - 20))


def number(text):
    """A quantity in its base unit, and whether its prefix was a thousandth."""
    value, prefix = re.fullmatch(r"\s*([0-9.]+)\s*([mkM]?)(?:ohm|V|A|W)\s*", text).groups()
    return float(value) * PREFIX[prefix], prefix == "m"


def bound(accuracy, value):
    return accuracy["percent"] / 100 * abs(value) + accuracy["counts"] * accuracy["resolution"]


def near(value, accuracy):
    b = bound(accuracy, value)
    return value + random.uniform(-b, b)


class Check:
    def __init__(self, document):
        self.document = document
        self.meter = document["meter"]
        self.lines = {line["id"]: line for line in document["lines"]}

    def entry(self, name):
        return (self.lines.get(name) or {}).get("entered")

    def range_of(self, value, milli):
        if milli and self.meter["milliohms"]:
            return self.meter["milliohms"]
        return self.meter["megohms"] if value >= 1e6 else self.meter["ohms"]

    def voltage(self, name):
        value, milli = number(self.entry(name))
        return value, self.meter["millivolts" if milli else "volts"]

    def limits(self, line):
        """Smallest and largest allowed, anew."""
        wire, check = ohms_of_wire(self.document["wires"][line["run"]]), line["check"]
        if check in ("continuity", "wiggle_at_neck", "wiggle_at_connector"):
            return None, wire + 0.5
        if check in ("supply_drop", "ground_drop"):
            return None, wire + 0.05
        if check in ("insulation_to_frame", "insulation_between"):
            return 1e6, None
        name = line["id"].split(".")
        if name[2] == "supply":
            return 4.75, 5.25
        if name[2] == "pair":
            return -0.05, 0.05
        closed, opened = RATIOS[name[2]]
        if name[3] == "half":
            return 0.5 - 0.8 / 6 - 0.03, 0.5 + 0.8 / 6 + 0.03
        at = closed if name[3] == "rest" else opened
        return at - 0.03, at + 0.03

    def draws(self, line):
        """What the value may be, drawn; none for what needs no drawing."""
        run, check, wire, *rest = line["id"].split(".")
        meter = self.meter
        if line["computed"]:
            (first, a), (second, b), (supply, c) = (
                self.voltage(f"{run}.output.{s}") for s in (f"first.{rest[0]}", f"second.{rest[0]}", "supply")
            )
            return [(near(second, b) + near(first, a)) / near(supply, c) - 1 for _ in range(DRAWS)]
        entered = line["entered"]
        if check == "continuity":
            value, milli = number(entered)
            leads = meter["leads_ohms"]
            return [near(value, self.range_of(value, milli)) - near(leads, meter["ohms"]) for _ in range(DRAWS)]
        if check in ("frame", "between"):
            value, milli = number(entered)
            return [near(value, self.range_of(value, milli)) for _ in range(DRAWS)]
        if check == "drop":
            volts, load = entered.split("@")
            value, milli = number(volts)
            accuracy = meter["millivolts" if milli else "volts"]
            if "bulb" in load:
                amps = number(load.replace("bulb", ""))[0] / 13.5
                return [near(value, accuracy) / (amps * random.uniform(0.85, 1.15)) for _ in range(DRAWS)]
            amps = number(load)[0]
            return [near(value, accuracy) / near(amps, meter["amps"]) for _ in range(DRAWS)]
        value, accuracy = self.voltage(line["id"])
        if wire == "supply":
            return [near(value, accuracy) for _ in range(DRAWS)]
        supply, of_supply = self.voltage(f"{run}.output.supply")
        return [near(value, accuracy) / near(supply, of_supply) for _ in range(DRAWS)]

    def moved(self, line):
        """Verdict of a wiggle: the worst against the wire's limit, and how much it changed."""
        rest, worst = (float(n) for n in re.findall(r"[0-9.]+", line["entered"].replace("..", " ")))
        ohms, leads = self.meter["ohms"], self.meter["leads_ohms"]
        change = [worst - rest + ohms["resolution"] * (random.uniform(-1, 1) + random.uniform(-1, 1)) for _ in range(DRAWS)]
        still = [near(worst, ohms) - near(leads, ohms) for _ in range(DRAWS)]
        found = [verdict(change, None, 0.25), verdict(still, None, self.limits(line)[1])]
        for word in ("outside", None, "undecided"):
            if word in found:
                return word
        return "within"


def verdict(draws, low, high):
    """By the 95 % rule; none where the two kinds of distribution may differ."""
    below = 0 if low is None else sum(d < low for d in draws) / len(draws)
    above = 0 if high is None else sum(d > high for d in draws) / len(draws)
    if any(abs(share - limit) < NEAR for share in (below, above, below + above) for limit in (0.05, 0.95)) and 0 < below + above < 1:
        return None
    if max(below, above) >= 0.95:
        return "outside"
    return "within" if below + above <= 0.05 else "undecided"


def check(document):
    judged = Check(document)
    compared = left_out = 0
    for line in document["lines"]:
        low, high = (None, None) if line["check"] == "terminal_grip" else judged.limits(line)
        for mine, theirs in ((low, line["expected"]["min"]), (high, line["expected"]["max"])):
            assert (mine is None) == (theirs is None), line
            assert mine is None or math.isclose(mine, theirs, rel_tol=2e-5, abs_tol=1e-9), (mine, line)
        entered = line["entered"] or ""
        words = {"firm": "within", "steady": "within", "OL": "within", "flickers": "outside"}
        if entered in words:
            mine = words[entered]
        elif entered.startswith(">"):
            mine = "undecided" if number(entered[1:])[0] < 1e6 else "within"
        elif ".." in entered:
            mine = judged.moved(line)
        else:
            mine = verdict(judged.draws(line), low, high)
        if mine is None:
            left_out += 1
            continue
        assert mine == line["verdict"], (mine, line)
        compared += 1
    return compared, left_out


def main():
    random.seed(20261126)
    compared, left_out = map(sum, zip(*(check(json.load(open(path, encoding="utf-8"))) for path in sys.argv[1:])))
    assert left_out < compared / 10, (compared, left_out)
    print(f"{compared} verdicts and their limits agree; {left_out} too near to the 95 % to compare")


if __name__ == "__main__":
    main()
