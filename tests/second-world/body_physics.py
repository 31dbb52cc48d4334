"""A motor-driven throttle body as equations of motion, other ones than a Coulomb and Stribeck model.

Written without sight of the project's simulator and analysis. Sources: parameter values and spreads from the tables of the
project's PHYSICS (section 1: Loh, Thanom, Pyko, Lee 2013 and assumptions named there). Models from textbooks:

* winding: L i' = u - R i - Vb tanh(20 i) - Kt w, exact over a step; R grows 0.39 %/K with its own warmth; commutation ripple
  and cogging 14 a turn; bridge open: the diodes take the current down against the battery, then nothing flows;
* friction: bristles (LuGre: Canudas de Wit, Olsson, Astrom, Lischinsky, IEEE TAC 40(3), 1995): z' = v/zmax (1 - sign(v) z/g(v)),
  F = Tc z + sigma1 v, with g = 1 + (fs - 1)/(1 + |v/vs|^p), so before it slips it creeps 0.05 to 0.2 deg of plate;
* mesh: Hertzian contact, T = k d^1.5 (1 + a d'), without pull (Hunt and Crossley, J. Appl. Mech. 42, 1975), or linear; lash,
  transmission error and wear over the gear's own angle; load-dependent loss: friction proportional to the tooth's load;
* springs: two preloaded springs about the rest position, with rate-independent hysteresis (Dahl).

Three inertias: motor, idler, plate. Steps are semi-implicit Euler of at most 20 us. Angles in radians, plate 0 = closed stop.
"""

import numba
import numpy as np

STEP_US = 20

# State.
(I, TM, WM, T2, W2, TH, W, ZM, ZP, QS, INTEGRAL, SLOPE, LAST, U, WARM, SAG, FB, TICK, HEAT, OVER, STALL, STRAY, AT_STALL,
 Z2, SIZE) = range(25)
# Parameters.
(P_R, P_L, P_K, P_KR, P_RVAR, P_PHASE, P_VB, P_COG, P_JM, P_J2, P_JP, P_BM, P_BP, P_TCM, P_TC2, P_TCP, P_FS, P_VSM, P_VSP,
 P_SHAPE, P_ZM, P_ZP, P_N1, P_N2, P_K1, P_C1, P_L1, P_K2, P_C2, P_HERTZ, P_MU, P_REST, P_WPL, P_GAP, P_TPH, P_KSH, P_TPL,
 P_KSL, P_HYST, P_HYSTW, P_OPEN, P_KST, P_CST, P_DEPOSIT, P_DEPW, P_DEPAT, P_DEADR, P_DEADAT, P_DEADW, P_SAGTAU, P_LAG,
 P_RTH, P_CTH, P_BAT, P_NK, P_PUSH, P_COUNT) = range(57)
# Loop: closed ratio, open ratio, travel mdeg, kp, ki, kd, filter s, dead mdeg, current A, set.
MODE_LOOP, MODE_VOLTS, MODE_BRAKE, MODE_OPEN = range(4)
FIRST_DEG, TABLE_STEP = -6.0, 0.01
R_TE, R_TES, R_A, R_AS, R_B, R_BS = range(6)   # rows: transmission error and slope, gap to flank A and slope, to flank B


@numba.njit(cache=True, inline="always")
def look(table, row, x):
    u = (x * 57.29577951308232 - FIRST_DEG) / TABLE_STEP
    k = int(u)
    if k < 0:
        return table[row, 0]
    if k >= table.shape[1] - 1:
        return table[row, table.shape[1] - 1]
    f = u - k
    return table[row, k] * (1.0 - f) + table[row, k + 1] * f


@numba.njit(cache=True, inline="always")
def contact(d, rate, k, c, hertz):
    """Torque of a tooth pressed by d > 0 (rad)."""
    if hertz > 0.5:
        t = k * d * np.sqrt(d) * (1.0 + c * rate)
    else:
        t = k * d + c * rate
    return max(t, 0.0)


@numba.njit(cache=True, inline="always")
def bristle(z, v, h, zmax, fs, vs, shape):
    if v == 0.0:
        return z
    g = 1.0 + (fs - 1.0) / (1.0 + (abs(v) / vs) ** shape)
    aim = g if v > 0.0 else -g
    return aim + (z - aim) * np.exp(-abs(v) * h / (zmax * g))


@numba.njit(cache=True, inline="always")
def spring(th, q, p):
    """Torque of both springs on the plate (positive opens), with hysteresis q in -1..1."""
    y = th - p[P_REST]
    half = 0.5 * p[P_GAP]
    t = 0.0
    if y > half:
        t = -(p[P_TPH] * min((y - half) / p[P_WPL], 1.0) + p[P_KSH] * (y - half))
    elif y < -half:
        t = p[P_TPL] * min((-y - half) / p[P_WPL], 1.0) + p[P_KSL] * (-y - half)
    return t - p[P_HYST] * abs(t) * q


@numba.njit(cache=True)
def drive(s, p, table, fb_table, loop, mode, want, volts0, volts1, h, noise, out):
    """Steps of h seconds. `want`: setpoint (deg) at each step for the loop; `noise`: of the feedback ratio, one per tick.

    out rows: plate behind the sensor's lag, current, terminal volts, sag, plate, rotor. Returns (guard, value, steps done)."""
    n1, n2 = p[P_N1], p[P_N2]
    steps = want.size
    used = 0
    keep_lag = np.exp(-h / p[P_LAG]) if p[P_LAG] > 0.0 else 0.0
    keep_sag = np.exp(-h / p[P_SAGTAU])
    for j in range(steps):
        i, wm, w2, w = s[I], s[WM], s[W2], s[W]
        # Control tick.
        s[TICK] -= h
        if s[TICK] <= 1e-9:
            s[TICK] += 1e-3
            ratio = look(fb_table, 0, s[FB]) + noise[used % noise.size]
            used += 1
            angle = (ratio - loop[0]) / (loop[1] - loop[0]) * loop[2]     # mdeg
            raw = (angle - s[LAST]) * 1e3
            s[LAST] = angle
            s[SLOPE] += (raw - s[SLOPE]) * (1e-3 / (1e-3 + loop[6]))
            if mode == MODE_LOOP:
                error = want[j] * 1000.0 - angle
                u = loop[3] * error * 1e-6 + s[INTEGRAL] - loop[5] * s[SLOPE] * 1e-9
                bounded = min(max(u, -loop[9]), loop[9])
                if bounded == u and abs(error) > loop[7]:
                    s[INTEGRAL] += loop[4] * error * 1e-6 * 1e-3
                if i > loop[8]:
                    bounded -= 1.5 * (i - loop[8])
                elif i < -loop[8]:
                    bounded -= 1.5 * (i + loop[8])
                s[U] = bounded
                if abs(error) > 12_000.0:
                    s[STRAY] += 1e-3
                else:
                    s[STRAY] = 0.0
                if s[STRAY] > 0.6:
                    return 9, error, j
            else:
                s[INTEGRAL] = 0.0
                s[STRAY] = 0.0
            s[HEAT] = max(0.0, s[HEAT] + (i * i - 9.0) * 1e-3)
            if s[HEAT] > 600.0:
                return 8, 1000.0, j
            s[OVER] = s[OVER] + 1e-3 if abs(i) > 20.0 else 0.0
            if s[OVER] > 0.01:
                return 3, 1000.0 * i, j
            if abs(i) > 9.0 and abs(ratio - s[AT_STALL]) < 0.004:
                s[STALL] += 1e-3
                if s[STALL] > 0.8:
                    return 7, 1000.0 * i, j
            else:
                s[STALL] = 0.0
                s[AT_STALL] = ratio
        u = s[U]
        if mode == MODE_VOLTS:
            u = volts0 + (volts1 - volts0) * (j + 0.5) / steps
        elif mode == MODE_BRAKE:
            u = 0.0
        # Winding.
        electric = p[P_NK] * s[TM] + p[P_PHASE]
        kt = p[P_K] * (1.0 + p[P_KR] * np.cos(electric))
        r = p[P_R] * (1.0 + 0.0039 * s[WARM]) * (1.0 + p[P_RVAR] * np.cos(electric + 1.0))
        if p[P_DEADR] > 0.0:
            turn = (s[TM] - p[P_DEADAT]) / (2.0 * np.pi)
            if abs(turn - np.floor(turn + 0.5)) * 2.0 * np.pi < 0.5 * p[P_DEADW]:
                r += p[P_DEADR]
        if mode == MODE_OPEN:
            if i != 0.0:
                aim = (-p[P_BAT] * np.sign(i) - kt * wm) / r
                after = aim + (i - aim) * np.exp(-r * h / p[P_L])
                i = 0.0 if after * i <= 0.0 else after
            terminal = kt * wm if i == 0.0 else -p[P_BAT] * np.sign(i)
        else:
            aim = (u - p[P_VB] * np.tanh(20.0 * i) - kt * wm) / r
            i = aim + (i - aim) * np.exp(-r * h / p[P_L])
            terminal = u
        s[I] = i
        s[WARM] += h * (i * i * r - s[WARM] / p[P_RTH]) / p[P_CTH]
        # First mesh: motor against idler, on the idler's axis.
        d1 = s[TM] / n1 - s[T2]
        rate1 = wm / n1 - w2
        half1 = 0.5 * p[P_L1]
        t1 = 0.0
        if d1 > half1:
            t1 = contact(d1 - half1, rate1, p[P_K1], p[P_C1], 0.0)
        elif d1 < -half1:
            t1 = -contact(-d1 - half1, -rate1, p[P_K1], p[P_C1], 0.0)
        # Second mesh: idler against the plate's sector, on the plate's axis.
        phi = s[T2] / n2
        d2 = phi - s[TH] - look(table, R_TE, phi)
        slope = 1.0 - look(table, R_TES, phi)
        rate2 = w2 / n2 * slope - w
        ga, gb = look(table, R_A, phi), look(table, R_B, phi)
        t2, cam = 0.0, slope
        if d2 > ga:
            cam = slope - look(table, R_AS, phi)
            t2 = contact(d2 - ga, rate2 - w2 / n2 * (slope - cam), p[P_K2], p[P_C2], p[P_HERTZ])
        elif d2 < -gb:
            cam = slope + look(table, R_BS, phi)
            t2 = -contact(-d2 - gb, -rate2 + w2 / n2 * (slope - cam), p[P_K2], p[P_C2], p[P_HERTZ])
        # Friction, springs, stops.
        s[ZM] = bristle(s[ZM], wm, h, p[P_ZM], p[P_FS], p[P_VSM], p[P_SHAPE])
        s[Z2] = bristle(s[Z2], w2, h, p[P_ZM] / n1, p[P_FS], p[P_VSM] / n1, p[P_SHAPE])
        s[ZP] = bristle(s[ZP], w, h, p[P_ZP], p[P_FS], p[P_VSP], p[P_SHAPE])
        deposit = 0.0
        if p[P_DEPOSIT] > 0.0:
            deposit = p[P_DEPOSIT] * np.exp(-((s[TH] - p[P_DEPAT]) / p[P_DEPW]) ** 2)
        plate_level = p[P_TCP] + deposit + p[P_MU] * abs(t2)
        near = 1.0 / (1.0 + (w / 0.05) ** 4)
        friction = plate_level * (s[ZP] + 0.2 * w * near) + p[P_BP] * w
        rotor = p[P_TCM] * (s[ZM] + 0.045 * wm / (1.0 + wm**4)) + p[P_BM] * wm
        turned = w * h
        s[QS] += (turned - abs(turned) * s[QS]) / p[P_HYSTW]
        s[QS] = min(max(s[QS], -1.0), 1.0)
        stop = 0.0
        if s[TH] < 0.0:
            stop = max(0.0, -p[P_KST] * s[TH] - p[P_CST] * w)
        elif s[TH] > p[P_OPEN]:
            stop = -max(0.0, p[P_KST] * (s[TH] - p[P_OPEN]) + p[P_CST] * w)
        cogging = p[P_COG] * np.sin(p[P_NK] * s[TM])
        wm += h * (kt * i - t1 / n1 - rotor + cogging) / p[P_JM]
        w2 += h * (t1 - t2 * cam / n2 - p[P_TC2] * s[Z2]) / p[P_J2]
        w += h * (t2 + spring(s[TH], s[QS], p) + stop - friction + p[P_PUSH]) / p[P_JP]
        s[WM], s[W2], s[W] = wm, w2, w
        s[TM] += h * wm
        s[T2] += h * w2
        s[TH] += h * w
        s[FB] = s[TH] + (s[FB] - s[TH]) * keep_lag
        s[SAG] = abs(i) + (s[SAG] - abs(i)) * keep_sag
        out[j, 0], out[j, 1], out[j, 2], out[j, 3], out[j, 4], out[j, 5] = s[FB], i, terminal, s[SAG], s[TH], s[TM]
    return -1, 0.0, steps
