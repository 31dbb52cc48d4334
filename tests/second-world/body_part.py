"""A throttle body drawn with the spread of PHYSICS section 1 and, for what the first model left out, of its last section.

Written without sight of the project's simulator and analysis. A `Body` holds the parameters of body_physics.py, the table of
its gears, its feedback pair (a grip_part.GripPart over the plate's angle), and its true figures.
"""

from dataclasses import dataclass, field

import numpy as np

import body_physics as b
from grip_part import GRID, BEYOND, GripPart, harmonics, textured

OPEN_DEG = 84.0
PITCH_DEG = 4.0
N1, N2 = 45.0 / 11.0, 5.0


@dataclass
class Body:
    p: np.ndarray
    feedback: GripPart
    te: list                        # (period deg, size deg, phase)
    teeth: np.ndarray               # per tooth, deg
    lash_deg: float                 # of the second mesh, on the plate
    wear_a: list = field(default_factory=list)   # functions of the gear's angle (deg) giving deg, opening flank
    wear_b: list = field(default_factory=list)
    sag_mv_per_amp: float = 0.0
    pwm_khz: float = 20.0
    amps_noise: float = 0.004
    volts_noise: float = 0.005

    def gear_table(self):
        x = b.FIRST_DEG + b.TABLE_STEP * np.arange(int(round((OPEN_DEG + 8.0 - b.FIRST_DEG) / b.TABLE_STEP)))
        te = np.zeros_like(x)
        for period, size, phase in self.te:
            te += size * np.sin(2 * np.pi * x / period + phase)
        tooth = np.floor(x / PITCH_DEG).astype(int)
        inside = x / PITCH_DEG - tooth
        te += self.teeth[tooth % self.teeth.size] * np.sin(np.pi * inside) ** 2
        rows = np.zeros((6, x.size))
        rows[b.R_TE] = np.deg2rad(te)
        half = 0.5 * self.lash_deg
        rows[b.R_A] = np.deg2rad(half + sum((f(x) for f in self.wear_a), np.zeros_like(x)))
        rows[b.R_B] = np.deg2rad(half + sum((f(x) for f in self.wear_b), np.zeros_like(x)))
        for value, slope in ((b.R_TE, b.R_TES), (b.R_A, b.R_AS), (b.R_B, b.R_BS)):
            rows[slope] = np.gradient(rows[value], np.deg2rad(b.TABLE_STEP))
        return rows

    def total_lash(self, at_deg):
        """Free travel of the plate's gears at a place, deg: both meshes."""
        rows = self.gear_table()
        k = int(round((at_deg - b.FIRST_DEG) / b.TABLE_STEP))
        return float(np.rad2deg(rows[b.R_A, k] + rows[b.R_B, k] + self.p[b.P_L1] / N2))


def sound_body(rng, nominal):
    """A healthy body. How wide its physics is drawn is the table at the end of PHYSICS."""
    p = np.zeros(b.P_COUNT)

    def spread(sd):
        return 1.0 + np.clip(rng.normal(0.0, sd), -2.2 * sd, 2.2 * sd)

    p[b.P_R], p[b.P_L], p[b.P_K] = 1.15 * spread(0.05), 1.5e-3 * spread(0.10), 0.018724 * spread(0.03)
    p[b.P_KR], p[b.P_RVAR], p[b.P_PHASE] = rng.uniform(0.02, 0.05), rng.uniform(0.01, 0.04), rng.uniform(0, 2 * np.pi)
    p[b.P_VB], p[b.P_COG], p[b.P_NK] = rng.uniform(0.05, 0.30), 0.8e-3 * 10.0 ** rng.uniform(-0.4, 0.6), 14.0
    p[b.P_JM], p[b.P_J2], p[b.P_JP] = 4.78e-6 * spread(0.05), 2e-6 * spread(0.1), 5e-5 * spread(0.15)
    p[b.P_BM], p[b.P_BP] = 1.793e-5 * spread(0.2), 1.3e-3 * spread(0.2)
    p[b.P_FS], p[b.P_SHAPE] = rng.uniform(1.05, 1.25), rng.uniform(0.7, 2.0)
    p[b.P_VSM], p[b.P_VSP] = 4.0 * 10.0 ** rng.uniform(-0.3, 0.3), 0.1 * 10.0 ** rng.uniform(-0.3, 0.3)
    p[b.P_N1], p[b.P_N2] = N1, N2
    p[b.P_TPH], p[b.P_KSH] = 0.396 * spread(0.05), 0.087 * spread(0.10)
    p[b.P_TPL], p[b.P_KSL] = 0.36 * spread(0.05), 0.25 * spread(0.10)
    p[b.P_REST], p[b.P_WPL], p[b.P_GAP] = np.deg2rad(6.5 + np.clip(rng.normal(0, 0.5), -1.1, 1.1)), np.deg2rad(0.15), np.deg2rad(rng.uniform(0, 0.07))
    p[b.P_HYST], p[b.P_HYSTW] = rng.uniform(0.05, 0.10) * 0.5, np.deg2rad(rng.uniform(1.0, 3.0))
    p[b.P_MU] = rng.uniform(0.0, 0.03)
    level = spread(0.15)
    p[b.P_TCM], p[b.P_TC2], p[b.P_TCP] = 0.0063 * level * spread(0.08), 0.0035 * level, 0.095 * level * spread(0.1)
    # The springs must overcome friction with room, or the part is not healthy.
    total = p[b.P_TCM] * N1 * N2 + p[b.P_TC2] * N2 + p[b.P_TCP] + p[b.P_COG] * N1 * N2 * 0.5
    weakest = min(p[b.P_TPH], p[b.P_TPL]) * (1.0 - p[b.P_HYST])
    room = weakest / (1.12 * p[b.P_FS] * total)
    if room < 1.0:
        for k in (b.P_TCM, b.P_TC2, b.P_TCP, b.P_COG):
            p[k] *= room
    creep = np.deg2rad(10.0 ** rng.uniform(np.log10(0.05), np.log10(0.2)))
    p[b.P_ZP], p[b.P_ZM] = creep, creep * N1 * N2 * rng.uniform(0.3, 1.0)
    stiffness = 10.0 ** rng.uniform(np.log10(0.3), np.log10(3.0))
    p[b.P_K1], p[b.P_C1], p[b.P_L1] = 300.0 * stiffness * spread(0.15), 0.012, np.deg2rad(rng.uniform(0.4, 0.8))
    p[b.P_HERTZ] = float(rng.random() < 0.5)
    k2 = 800.0 * stiffness * spread(0.15)
    if p[b.P_HERTZ]:   # the same deflection at 0.4 N m as the linear mesh
        p[b.P_K2], p[b.P_C2] = 0.4 / (0.4 / k2) ** 1.5, rng.uniform(0.05, 0.3)
    else:
        p[b.P_K2], p[b.P_C2] = k2, 0.08
    # Stops of plastic on metal: stiffer and more damped than the first model, a rebound of 0.3 to 0.6.
    p[b.P_OPEN], p[b.P_KST], p[b.P_CST] = np.deg2rad(OPEN_DEG), rng.uniform(1500.0, 4000.0), rng.uniform(0.5, 1.2)
    p[b.P_DEPW], p[b.P_DEPAT] = np.deg2rad(1.5), 0.0
    p[b.P_SAGTAU], p[b.P_LAG] = 10.0 ** rng.uniform(-5.0, -3.0), rng.uniform(0.0, 3e-4)
    p[b.P_RTH], p[b.P_CTH], p[b.P_BAT] = rng.uniform(4.0, 9.0), rng.uniform(12.0, 40.0), 14.0
    lash = rng.uniform(0.10, 0.25)
    te = [(72.0, 0.035), (17.6, 0.020), (4.0, 0.010), (1.6, 0.006), (36.0, 0.012), (8.8, 0.008)]
    te = [(period, min(size * rng.uniform(0.3, 1.3), 0.040), rng.uniform(0, 2 * np.pi)) for period, size in te]
    return Body(p, sound_feedback(rng, nominal), te, rng.normal(0.0, 0.010, 24), lash, [], [],
                rng.uniform(0.0, 10.0), 20.0, 0.004 * rng.uniform(0.5, 3.0), 0.005 * rng.uniform(0.5, 3.0))


def sound_feedback(rng, nominal):
    """The feedback pair over the plate's angle: Hall or potentiometer, up to three times as bent as the published one."""
    element = str(rng.choice(["hall", "pot"]))
    grid = np.arange(-BEYOND, OPEN_DEG + BEYOND + GRID, GRID)
    texture = np.zeros((2, grid.size))
    if element == "pot":
        lengths = 10.0 ** rng.uniform(np.log10(0.05), 0.0, rng.integers(1, 3))
        texture = np.array([textured(rng, grid, 10.0 ** rng.uniform(-4.0, np.log10(4e-4)), lengths, 0.01) for _ in (0, 1)])
    else:
        texture = np.array([textured(rng, grid, 8e-5, [0.3], 0.0) for _ in (0, 1)])
    offset, gain = rng.normal(0.0, 0.004) * np.array([1.0, -1.0]) + rng.normal(0, 0.002, 2), rng.normal(0, 0.004) + rng.normal(0, 0.002, 2)
    # The element goes on 1.4 deg beyond both stops, so its whole span is that much larger than the nominal one.
    gain = (1.0 + gain) * (OPEN_DEG + 2.8) / OPEN_DEG - 1.0
    return GripPart(
        "complementary", element, OPEN_DEG, nominal, offset, gain, np.full(2, -1.4), np.full(2, -1.4),
        harmonics(rng, rng.uniform(0.05, 0.75), [1.0, 2.0, 3.7, 0.5]),
        [harmonics(rng, rng.uniform(0.0, 0.003), [1.0, 2.0, 3.3]) for _ in (0, 1)], texture, 0.0, False,
        rng.uniform(2e-4, 1.0e-3), 0.012, 4e3 if element == "pot" else 0.0, rng.uniform(20.0, 300.0))


def feedback_line(part, k):
    """Ratio of a line over the plate's angle on the grid of the gears' table."""
    x = b.FIRST_DEG + b.TABLE_STEP * np.arange(int(round((OPEN_DEG + 8.0 - b.FIRST_DEG) / b.TABLE_STEP)))
    grid, rows = part.tables()
    slope = [(rows[k][-1] - rows[k][-201]) / (grid[-1] - grid[-201]), (rows[k][200] - rows[k][0]) / (grid[200] - grid[0])]
    y = np.interp(x, grid, rows[k])
    y = np.where(x > grid[-1], rows[k][-1] + slope[0] * (x - grid[-1]), y)
    return np.where(x < grid[0], rows[k][0] + slope[1] * (x - grid[0]), y)[None, :].copy()


def true_figures(body, nominal):
    """{(figure, channel): [low, high]} of a body, over the admissible readings of each definition (see figures.py).

    Angles are told on the nominal scale of the first line, as the part sheet says. A slow ramp at 20 deg/s is quasi-static."""
    p, found = body.p, {}
    lines = body.feedback.true_figures()
    for (name, channel), interval in lines.items():
        if name in ("closed_volts", "open_volts", "span", "noise") or name.startswith("correlation"):
            found[name, channel] = interval
            if name == "noise":   # the rig's own converter adds a little
                found[name, channel] = [interval[0], float(np.hypot(interval[1], 0.25))]
    if lines:
        closed, opened = nominal[0]
        grid, rows = body.feedback.tables()

        def told(degrees):
            return float((np.interp(degrees, grid, rows[0]) - closed) / (opened - closed) * OPEN_DEG)

        rest = float(np.rad2deg(p[b.P_REST]))
        found["rest_position", None] = sorted([told(rest - 0.25), told(rest + 0.25)])
        found["closed_stop", None] = [told(0.0) - 0.05, told(0.0) + 0.05]
        found["open_stop", None] = [told(OPEN_DEG) - 0.05, told(OPEN_DEG) + 0.05]
    rest = float(np.rad2deg(p[b.P_REST]))
    lash = [body.total_lash(rest + d) for d in (-0.5, 0.0, 0.5)]
    found["lash", None] = [min(lash), max(lash)]
    x = np.arange(rest + 1.0, OPEN_DEG - 1.0, 0.05)
    wear = max((float(np.max(f(x))) for f in body.wear_a), default=0.0)
    if wear > 0.0:
        found["lost_motion", None] = [0.7 * wear, wear]
    speed = np.deg2rad(20.0)

    def level(v, vs):
        return 1.0 + (p[b.P_FS] - 1.0) / (1.0 + (v / vs) ** p[b.P_SHAPE])

    found |= moved_figures(body)
    n = N1 * N2
    pull = p[b.P_TPH] + p[b.P_KSH] * np.deg2rad(40.0)
    kinetic = (p[b.P_TCM] * n * level(speed * n, p[b.P_VSM]) + p[b.P_TC2] * N2 * level(speed * N2, p[b.P_VSM] / N1)
               + p[b.P_TCP] * level(speed, p[b.P_VSP]) + (p[b.P_MU] + p[b.P_HYST]) * pull + (p[b.P_BP] + p[b.P_BM] * n * n) * speed)
    found["friction", None] = [0.95 * kinetic, 1.05 * kinetic]
    found["preload_main", None] = [p[b.P_TPH] * (1 - p[b.P_HYST]), p[b.P_TPH] * (1 + p[b.P_HYST])]
    found["preload_default", None] = [p[b.P_TPL] * (1 - p[b.P_HYST]), p[b.P_TPL] * (1 + p[b.P_HYST])]
    found["stiffness_main", None] = [0.97 * p[b.P_KSH], 1.03 * p[b.P_KSH]]
    found["winding_resistance", None] = [p[b.P_R], p[b.P_R] * (1.0 + 0.0039 * 20.0)]
    found["back_emf_constant", None] = [0.99 * p[b.P_K] * n, 1.01 * p[b.P_K] * n]
    return found


def moved_figures(body):
    """Latency and returns by simulation without noise: 8 V from a hold that the loop made, and letting go at 80 deg.

    Latency ends where the sensor has moved by 0.004 deg (least) to 0.02 deg (most), over places and directions."""
    table, fb = body.gear_table(), feedback_line(straight(body), 0)
    loop = np.array([0.1, 0.9, 84_000.0, 1100.0, 8727.0, 12741.0, 5.3e-4, 120.0, 8.0, 13.5])
    no_noise, h, found, times = np.zeros(1), b.STEP_US * 1e-6, {}, []

    def drive(state, mode, want, volts):
        out = np.empty((want.size, 6))
        b.drive(state, body.p, table, fb, loop, mode, want, volts, volts, h, no_noise, out)
        return np.rad2deg(out[:, 0])

    def held(start, place):
        state = at_place(body, table, start)
        want = np.concatenate([np.linspace(start, place, 8000), np.full(15_000, place)])
        drive(state, b.MODE_LOOP, want, 0.0)
        return state

    for place in (12.0, 35.0, 70.0):
        for start, volts in ((place - 4.0, 8.0), (place + 4.0, -8.0)):
            state = held(start, place)
            before = np.rad2deg(state[b.FB])
            way = np.abs(drive(state, b.MODE_VOLTS, np.zeros(400), volts) - before)
            times += [(int(np.argmax(way > far)) + 1) * b.STEP_US if way[-1] > far else 1e6 for far in (0.004, 0.02)]
    found["latency_p50", None] = [float(min(times)), float(max(times)) + 100.0]
    rest = np.rad2deg(body.p[b.P_REST])
    for mode, bridge, limit in ((b.MODE_OPEN, "open", 1.2), (b.MODE_BRAKE, "brake", 2.0)):
        state = held(76.0, 80.0)
        way = drive(state, mode, np.zeros(int(limit / h)), 0.0)
        away = np.flatnonzero(np.abs(way - rest) > 1.0)
        found["_return_" + bridge, None] = [1e3 * h * float(away[-1])] * 2 if away.size else [0.0, 0.0]
    return found


def straight(body):
    """The feedback pair without bends, for the loop that brings the plate to a place."""
    return GripPart("complementary", "hall", OPEN_DEG, ((0.1, 0.9), (0.9, 0.1)), np.zeros(2), np.full(2, 2.8 / OPEN_DEG),
                    np.full(2, -1.4), np.full(2, -1.4), [], [[], []], np.zeros((2, body.feedback.grid.size)), 0.0, False, 0.0, 0.01, 0.0, 1.0)


def at_place(body, table, degrees):
    """A state at rest at a place, the gears in the middle of their lash."""
    state = np.zeros(b.SIZE)
    state[b.TH] = state[b.FB] = np.deg2rad(degrees)
    te = np.interp(degrees, b.FIRST_DEG + b.TABLE_STEP * np.arange(table.shape[1]), table[b.R_TE])
    state[b.T2] = (state[b.TH] + te) * body.p[b.P_N2]
    state[b.TM] = state[b.T2] * body.p[b.P_N1]
    state[b.LAST] = 1000.0 * degrees
    return state
