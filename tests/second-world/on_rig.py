"""Parts on the rig: draws a plant and its truth, serves it in a thread, runs `qualify` over it, scores the outcome."""

import json
import os

import numpy as np

import adversary
import body_faults
import body_part
import grip_faults
import recordings
import rig as rigs
import rig_body
import rig_grip
import runner
import scoring
import sheets
from grip_part import TOPOLOGIES, sound_part
from serve import Served

# Faults that a drive shows beside those of a recording.
DRIVEN_KINDS = tuple(k for k in grip_faults.KINDS if k != "seized") + ("weak_return_spring", "broken_return_spring", "seized",
                                                                       "supply_lead", "ground_lead", "signal_lead", "leak")
LEADS = {"supply_lead": {"supply_lead"}, "ground_lead": {"ground_lead"}, "signal_lead": {"signal_lead"}, "leak": {"leakage"}}


# A body's figures are known worse, and some of its limits lie near what healthy bodies have.
SOUND_BODY_USE, BEYOND_BODY_USE = 0.92, 1.10


def draw_body(path, seed, index, kind=None):
    """(plant, truth, sheet's name) of body `index` of `seed`."""
    rng = np.random.default_rng([seed, index, 0x626f])
    sheet = sheets.sheet(path, "body")
    nominal = sheets.nominal(sheet)
    kind = kind or (str(rng.choice(body_faults.KINDS)) if rng.random() < 0.5 else "sound")
    for _ in range(500):
        body = body_part.sound_body(rng, nominal)
        figures = body_part.true_figures(body, nominal)
        slow = figures["_return_open", None][1] > 900.0 or figures["_return_brake", None][1] > 1350.0
        if recordings.most_used(figures, sheet)[0] <= SOUND_BODY_USE and not slow:
            break
    else:
        raise RuntimeError("no sound body in 500 draws")
    fault, losses = {"kind": "sound", "severity": 0.0, "band": ""}, []
    if kind != "sound":
        fault, losses = body_faults.plant(rng, body, *kind.split("="))
    plant = rig_body.BodyPlant(rng, body, losses)
    figures = body_part.true_figures(body, nominal)
    _, _, uses = recordings.most_used(figures, sheet)
    severity = fault.get("severity", max((u[1] for u in uses.values()), default=0.0))
    fault = fault | {"severity": float(severity), "band": body_faults.band(kind, severity)}
    beyond = sorted(k for k, (low, _) in uses.items() if low > BEYOND_BODY_USE)
    state = "sound" if kind == "sound" else "beyond" if beyond else "borderline"
    rest = float(np.rad2deg(body.p[body_part.b.P_REST]))
    truth = {"what": "body", "seed": seed, "index": index, "sheet": "body", "sound": state == "sound", "state": state, "fault": fault,
             "beyond": beyond, "uses": {k: [float(v) for v in u] for k, u in uses.items()}, "losses": [], "losses_that_must_show": 0,
             "figures": {(n if c is None else f"{n}.{c}"): [float(v) for v in i] for (n, c), i in figures.items() if not n.startswith("_")},
             "part": {"rest": rest, "lash": body.total_lash(rest), "creep_deg": float(np.rad2deg(body.p[body_part.b.P_ZP])),
                      "hertzian": bool(body.p[body_part.b.P_HERTZ]), "te": body.te, "element": body.feedback.element,
                      "friction": body_faults.friction(body.p), "parameters": body.p.tolist(),
                      "sag_mv_per_amp": body.sag_mv_per_amp}}
    return plant, truth, "body"


def draw_grip(path, seed, index, kind=None, element=None):
    """(plant, truth, sheet's name) of driven grip `index` of `seed`."""
    rng = np.random.default_rng([seed, index, 0x6472])
    topology = TOPOLOGIES[rng.integers(3)]
    sheet_name = f"grip-{topology}"
    sheet = sheets.sheet(path, sheet_name)
    kind = kind or (str(rng.choice(DRIVEN_KINDS)) if rng.random() < 0.6 else "sound")
    for _ in range(200):
        part = sound_part(rng, topology, sheets.nominal(sheet), element)
        if recordings.most_used(part.true_figures(), sheet)[0] <= recordings.SOUND_USE - (0.02 if kind == "sound" else 0.1):
            break
    spring, friction = (rng.uniform(0.08, 0.2), rng.uniform(0.1, 0.3)), rng.uniform(0.01, 0.05)
    fault, losses, seized_at = {"kind": kind}, [], None
    if kind == "weak_return_spring":
        share = rng.uniform(0.05, 0.8)
        spring = (spring[0] * share, spring[1] * share)
        fault |= {"share": share, "severity": 1.0 / max(share, 0.2)}
    elif kind == "broken_return_spring":
        spring = (0.0, 0.0)
        fault |= {"severity": 3.0}
    elif kind == "seized":
        seized_at = float(rng.choice([0.0, rng.uniform(0.0, part.travel)]))
        fault |= {"severity": 3.0}
    elif kind == "signal_lead":
        line = int(rng.integers(2))
        factor = grip_faults.severity_factor(rng)
        part.signal_ohms[line] = 400.0 * factor      # 4 % at a load of 10 kilohm
        fault |= {"lines": [line], "severity": factor}
    elif kind != "sound":
        fault, losses = grip_faults.plant(rng, part, kind, 25.0)
    plant = rig_grip.GripPlant(rng, part, losses, spring, friction, seized_at)
    if part.swapped:
        fault |= {"severity": 3.0}
    figures = part.true_figures()
    for name in ("rising", "second") if figures else ():   # the rig's own converter adds a little
        low, high = figures["noise", name]
        figures["noise", name] = [low, float(np.hypot(high, 0.25))]
    most, _, uses = recordings.most_used(figures, sheet)
    beyond = sorted(k for k, (low, _) in uses.items() if low > recordings.BEYOND_USE["careful"])
    severity = fault.get("severity", max((u[1] for u in uses.values()), default=0.0))
    fault = fault | {"severity": float(severity), "band": grip_faults.band(severity)}
    state = "sound" if kind == "sound" and most <= recordings.SOUND_USE else "beyond" if beyond else "borderline"
    truth = {"what": "driven grip", "seed": seed, "index": index, "sheet": sheet_name, "sound": state == "sound", "state": state,
             "fault": fault, "beyond": beyond, "uses": {k: [float(v) for v in u] for k, u in uses.items()},
             "figures": {(n if c is None else f"{n}.{c}"): v for (n, c), v in figures.items() if not n.startswith("_")},
             "losses": [], "losses_that_must_show": 0,
             "part": {"topology": topology, "element": part.element, "travel": part.travel, "play": part.play}}
    return plant, truth, sheet_name


def qualify(path, plant, sheet_name, quirks=None, seconds=240.0, real_time=False):
    rig = rigs.Rig(plant, real_time=real_time)
    if quirks is not None:
        quirks.prepare(rig)
    served = Served(rig, quirks)
    with served as address:
        arguments = ["qualify", "--rig", address, "--sheet", sheet_name, "--json", "--i-have-read-the-cautions"]
        result = runner.run(path, arguments, seconds)
    if served.error is not None:
        result["words"] += f"\nthis rig failed: {served.error!r}"
        # Only its own numbers that ran away: whatever else a request can break in it counts as a failed run.
        result["verdict"], result["rig_broke"] = "failed", isinstance(served.error, ValueError) and "NaN" in str(served.error)
    result["rig_seconds"] = rig.now_us * 1e-6
    return result


def tell_losses(plant, truth):
    """What of the planted losses fell into runs."""
    seen = [(loss, scans, depth) for loss, scans, depth in plant.seen_losses]
    truth["losses"] = [{"start": x.start, "length": x.length, "where": x.where, "depth_percent_supply": d, "scans": n}
                       for x, n, d in seen]
    must = [x for x in truth["losses"] if x["scans"] >= 1 and x["depth_percent_supply"] >= 1.0 and x["length"] >= 2e-4]
    truth["losses_that_must_show"] = len(must)
    if truth["fault"]["kind"].startswith("loss"):
        severity = max((min(x["length"] * 5000.0, x["depth_percent_supply"]) for x in truth["losses"]), default=0.0)
        truth["fault"] |= {"severity": severity, "band": grip_faults.band(severity)}
        if must:
            truth["state"] = "beyond"


def keep_it(keep, keep_all, score, truth, result, name):
    if keep and (keep_all or scoring.failures([score])):
        os.makedirs(keep, exist_ok=True)
        for what, content in (("truth", truth), ("outcome", result["outcome"])):
            with open(os.path.join(keep, f"{name}.{what}.json"), "w") as out:
                json.dump(content, out, indent=1)
        with open(os.path.join(keep, f"{name}.words.txt"), "w") as out:
            out.write(result["words"])


def one_driven_grip(task):
    path, seed, index, keep, keep_all, kind = task
    plant, truth, sheet_name = draw_grip(path, seed, index, kind)
    result = qualify(path, plant, sheet_name)
    tell_losses(plant, truth)
    score = scoring.score(truth, result) | {"rig_seconds": result["rig_seconds"]}
    keep_it(keep, keep_all, score, truth, result, f"driven-{seed}-{index}")
    return score


def one_body(task):
    path, seed, index, keep, keep_all, kind = task
    plant, truth, sheet_name = draw_body(path, seed, index, kind)
    result = qualify(path, plant, sheet_name)
    tell_losses(plant, truth)
    score = scoring.score(truth, result) | {"rig_seconds": result["rig_seconds"], "place": truth["fault"].get("place"),
                                            "rest": truth["part"]["rest"]}
    keep_it(keep, keep_all, score, truth, result, f"body-{seed}-{index}")
    return score


def one_adversary(task):
    """A sound grip or body on a bad rig: (name, result, complaint or None)."""
    path, seed, name, named = task
    rng = np.random.default_rng([seed, len(name)])
    # A calm supply: only the quirk is tested.
    if name.startswith("body"):
        plant, _, sheet_name = draw_body(path, seed, 0, "sound")
        plant.body.sag_mv_per_amp = 0.0
    else:
        plant, _, sheet_name = draw_grip(path, seed, 0, "sound", "hall")
        plant.ripple = (0.0, 100.0)
    result = qualify(path, plant, sheet_name, adversary.Quirks(rng, **named), seconds=60.0)
    complaint = None
    if result["panic"]:
        complaint = "panicked"
    elif result["code"] is None:
        complaint = "did not end"
    elif result["verdict"] in adversary.MUST_NOT:
        complaint = f"verdict {result['verdict']} over a sound part"
    elif name == "a good rig" and result["verdict"] != "within":
        complaint = f"verdict {result['verdict']} over a sound part"
    elif result["verdict"] == "within" and name not in adversary.MAY_BE_WITHIN:
        complaint = "verdict within although the plan was not carried out"
    return name, result, complaint
