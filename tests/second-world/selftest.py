"""Checks of this generator against published numbers. Ends with status 1 at the first that fails.

    python tests/second-world/selftest.py

Sources are named at each check; REFERENCES and PHYSICS are the project's own collections of them.
"""

import sys

import numpy as np

import body_part
import body_physics as b
import figures
import losses
import motion
import scoring
import wire


def near(name, value, wanted, allowed):
    if not abs(value - wanted) <= allowed:
        print(f"FAILED {name}: {value!r}, wanted {wanted!r} within {allowed}")
        sys.exit(1)
    print(f"ok     {name}: {value:.6g}")


def same(name, value, wanted):
    if value != wanted:
        print(f"FAILED {name}: {value!r}, wanted {wanted!r}")
        sys.exit(1)
    print(f"ok     {name}")


def check_wire():
    same("CRC-32/AUTOSAR check value (CRC catalogue)", wire.crc(b"123456789"), 0x1697D06A)
    same("CRC of nothing (WIRE 1.1)", wire.crc(b""), 0)
    for plain, stuffed in (("", "01"), ("00", "0101"), ("001100", "01021101"), ("11220033", "0311220233"), ("11000000", "0211010101")):
        same(f"stuffing of {plain or 'nothing'} (WIRE 1.2)", wire.stuff(bytes.fromhex(plain)).hex(), stuffed)
        same(f"undoing {stuffed}", wire.unstuff(bytes.fromhex(stuffed)).hex(), plain)
    full = bytes(range(1, 255))
    for plain, stuffed in ((full, b"\xff" + full), (b"\0" + full, b"\x01\xff" + full), (full + b"\xff", b"\xff" + full + b"\x02\xff")):
        same(f"stuffing of {len(plain)} bytes (WIRE 1.2)", wire.stuff(plain), stuffed)
        same(f"undoing {len(stuffed)} bytes", wire.unstuff(stuffed), plain)
    same("Arm, id 10 (WIRE 1.2)", wire.frame(wire.ARM, 10).hex(), "0402080a0571ea6d7400")
    rng = np.random.default_rng(1)
    for _ in range(200):
        data = rng.integers(0, 4, rng.integers(0, 1016)).astype(np.uint8).tobytes()
        got = wire.Deframer().feed(b"\0" + wire.frame(3, 7, data))
        if got != [(2, 3, 7, data)]:
            same("random frames there and back", got, data)
    same("a frame that is too long is dropped, the next is read",
         [f[1] for f in wire.Deframer().feed(b"\x05" * 2000 + b"\0" + wire.frame(8, 1))], [8])


def check_figures():
    x = np.linspace(0.0, 1.0, 20001)
    near("minimax of sqrt(x) on 0..1: 1/8 (REFERENCES, closed form)", figures.strip(x, np.sqrt(x))[0], 0.125, 1e-6)
    near("minimax of x^2 on 0..1: 1/8", figures.strip(x, x**2)[0], 0.125, 1e-6)
    x = np.linspace(-1.0, 1.0, 20001)
    error, slope, middle = figures.strip(x, np.exp(x))
    near("minimax of exp on -1..1: error", error, 0.278801585795502, 1e-8)
    near("minimax of exp on -1..1: slope", slope, 1.17520119364380, 1e-8)
    near("minimax of exp on -1..1: intercept", middle, 1.26427904901974, 1e-8)
    x = np.arange(5.0)
    near("minimax of x^2 at 0..4: 2 exactly", figures.strip(x, x**2)[0], 2.0, 1e-12)
    # Zero-based of x^2 on 0..1: s minimises max(s^2/4, 1 - s), so s = 2 sqrt(2) - 2 (computed by hand).
    x = np.linspace(0.0, 1.0, 20001)
    near("zero-based of x^2 on 0..1", figures.zero_based(x, x**2), 3.0 - 2.0 * np.sqrt(2.0), 1e-6)
    near("terminal of x^2 on 0..1: 1/4", figures.terminal(x, x**2, 1), 0.25, 1e-7)
    path = np.concatenate([np.linspace(0, 10, 1001), np.linspace(10, 0, 1001)])
    behind = motion.with_play(path, 0.4)
    near("play: width of the loop", np.max(behind[1001:][::-1] - behind[:1001]), 0.4, 1e-9)
    low, high = scoring.bounds(81, 263)
    near("Clopper-Pearson 81/263, low (REFERENCES)", low, 0.252737, 1e-6)
    near("Clopper-Pearson 81/263, high", high, 0.367622, 1e-6)
    near("Clopper-Pearson 0/20, high", scoring.bounds(0, 20)[1], 0.168433, 1e-6)
    t = np.array([0.0, 0.5e-4, 1e-4, 2e-4])
    level = losses.Loss(0.0, 1e-4, 1.0, "rising").level(t, 1e-4)
    near("pulse of one time constant through a low pass: top", level[2], 1.0 - np.exp(-1.0), 1e-12)
    near("one time constant later", level[3], (1.0 - np.exp(-1.0)) * np.exp(-1.0), 1e-12)


def bare(**named):
    """Parameters of a body with everything off that is not named."""
    p = np.zeros(b.P_COUNT)
    p[b.P_R], p[b.P_L], p[b.P_K], p[b.P_JM], p[b.P_J2], p[b.P_JP] = 1.15, 1.5e-3, 0.0187244, 4.78e-6, 2e-6, 5e-5
    p[b.P_N1], p[b.P_N2], p[b.P_FS], p[b.P_SHAPE], p[b.P_VSM], p[b.P_VSP] = 45 / 11, 5.0, 1.0, 1.0, 1.0, 1.0
    p[b.P_ZM] = p[b.P_ZP] = 1e-4
    p[b.P_SAGTAU], p[b.P_RTH], p[b.P_CTH], p[b.P_NK], p[b.P_HYSTW], p[b.P_DEPW] = 1e-4, 1e9, 1e9, 14.0, 1.0, 1.0
    p[b.P_OPEN], p[b.P_KST], p[b.P_CST], p[b.P_BAT], p[b.P_WPL] = 10.0, 1500.0, 0.15, 14.0, np.deg2rad(0.15)
    for name, value in named.items():
        p[getattr(b, name)] = value
    return p


def drive(p, state, mode, volts, seconds, h, table=None):
    steps = int(round(seconds / h))
    out = np.empty((steps, 6))
    table = np.zeros((6, 9801)) if table is None else table
    b.drive(state, p, table, np.zeros((1, 9801)), np.array([0.0, 1.0, 84e3, 0, 0, 0, 0, 0, 1e9, 99.0]), mode, np.zeros(steps),
            volts, volts, h, np.zeros(1), out)
    return out


def check_motor():
    """PHYSICS section 4, case 1: the motor alone. Its gears are taken off by a lash wider than it turns."""
    p = bare(P_BM=1e-6, P_L1=1e6, P_K1=300.0)
    for steps_us in (1, 20):
        state = np.zeros(b.SIZE)
        h, done = steps_us * 1e-6, 0.0
        for seconds, wanted in ((0.001, 2.0465), (0.005, 23.549), (0.020, 77.511), (0.050, 102.964), (0.200, 106.463)):
            drive(p, state, b.MODE_VOLTS, 2.0, seconds - done, h)
            done = seconds
            near(f"motor alone, 2 V, {1000 * seconds:g} ms, steps of {steps_us} us, rad/s (PHYSICS 4.1)", state[b.WM], wanted,
                 0.006 if steps_us == 1 else 0.06)


def check_return():
    """PHYSICS section 4, case 2: free return, open bridge, from 60 deg to one degree above rest, against the closed form
    J x'' + b x' + k x + (Tph - Tc) = 0. Friction at one place, stiff gears, no lash; bristles of next to no length."""
    inertia, viscous, stiff, pull = 0.0021, 0.0088, 0.087, 0.1228
    p = bare(P_K1=4000.0, P_C1=0.05, P_K2=8000.0, P_C2=0.3, P_TPH=0.396, P_KSH=stiff, P_REST=np.deg2rad(6.5), P_TCP=0.396 - pull,
             P_BP=viscous, P_ZP=1e-5)
    n = p[b.P_N1] * p[b.P_N2]
    p[b.P_JP], p[b.P_J2] = 5e-5, 2e-6
    p[b.P_JM] = (inertia - p[b.P_JP] - p[b.P_J2] * 25.0) / n**2
    body = body_part.Body(p, None, [], np.zeros(24), 0.0)
    table = body.gear_table()
    state = body_part.at_place(body, table, 60.0)
    out = drive(p, state, b.MODE_OPEN, 0.0, 0.25, 5e-6, table)
    arrived = (np.argmax(np.rad2deg(out[:, 4]) < 7.5) + 1) * 5e-6
    # Closed form by its roots, then the time by bisection.
    roots = np.roots([inertia, viscous, stiff])
    shift, start = pull / stiff, np.deg2rad(53.5)
    a = np.linalg.solve(np.array([[1, 1], roots]), np.array([start + shift, 0]).astype(complex))

    def place(t):
        return float(np.real(np.sum(a * np.exp(roots * t))) - shift)

    low, high = 0.05, 0.25
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if place(middle) > np.deg2rad(1.0) else (low, middle)
    near("free return: the closed form itself, ms (PHYSICS 4.2)", 1000 * low, 159.10, 0.05)
    near("free return by this body's equations, ms", 1000 * arrived, 159.10, 1.0)


def check_energy():
    """What goes in is what is lost and stored: 8 V 20 ms, 2 V 40 ms, on a body with lossless gears, springs and hysteresis off.
    The electric energy less copper, brush and friction is what moves and strains (Poynting's balance, textbook)."""
    p = bare(P_BM=1.793e-5, P_BP=0.0013, P_K1=300.0, P_C1=0.0, P_L1=np.deg2rad(0.6), P_K2=800.0, P_C2=0.0, P_TPH=0.396,
             P_KSH=0.087, P_TPL=0.36, P_KSL=0.25, P_REST=np.deg2rad(6.5), P_TCM=0.0, P_TC2=0.0, P_TCP=0.0)
    body = body_part.Body(p, None, [(72.0, 0.035, 0.3), (4.0, 0.01, 1.0)], np.zeros(24), 0.18)
    table = body.gear_table()
    state = body_part.at_place(body, table, 6.5)
    h, given, copper, viscous = 2e-6, 0.0, 0.0, 0.0
    for volts, seconds in ((8.0, 0.020), (2.0, 0.040)):
        out = drive(p, state, b.MODE_VOLTS, volts, seconds, h, table)
        amps, rotor = out[:, 1], np.gradient(out[:, 5], h)
        plate = np.gradient(out[:, 4], h)
        given += float(np.sum(volts * amps) * h)
        copper += float(np.sum(amps**2 * p[b.P_R]) * h)
        viscous += float(np.sum(p[b.P_BM] * rotor**2 + (p[b.P_BP]) * plate**2) * h)
    y = state[b.TH] - p[b.P_REST]
    stored = 0.5 * (p[b.P_JM] * state[b.WM] ** 2 + p[b.P_J2] * state[b.W2] ** 2 + p[b.P_JP] * state[b.W] ** 2)
    stored += 0.5 * p[b.P_L] * state[b.I] ** 2 + p[b.P_TPH] * (y - 0.5 * p[b.P_WPL]) + 0.5 * p[b.P_KSH] * y * y
    near("energy: given less lost and stored, share of what was given", (given - copper - viscous - stored) / given, 0.0, 0.01)


def check_presliding():
    """A bristle that has been pushed by far more than its length carries the whole friction, at first its stiffness."""
    z, v, h, zmax = 0.0, 1e-3, 1e-5, 2e-3
    for _ in range(int(0.02 * zmax / v / h)):
        z = b.bristle(z, v, h, zmax, 1.0, 1.0, 1.0)
    near("bristle: stiffness at first (LuGre)", z, 1.0 - np.exp(-0.02), 1e-5)
    for _ in range(int(20 * zmax / v / h)):
        z = b.bristle(z, v, h, zmax, 1.0, 1.0, 1.0)
    near("bristle: whole friction at last", z, 1.0, 1e-6)


if __name__ == "__main__":
    check_wire()
    check_figures()
    check_motor()
    check_return()
    check_energy()
    check_presliding()
    print("all checks passed")
