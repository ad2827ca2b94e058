"""A second, separately written program for the fleets that serrata simulates: plain Monte Carlo, one life of one
row at a time, outage by outage.  It shares no code and no random numbers with serrata.

    python peer_fleet.py STUDY.toml --trials 20000 --seed 1 --json out.json

It reads the study file itself (tomllib), and refuses what it does not know.

How it works
* Growth.  For each hot spot and growth law a table: for a grid of initial depths and aspects the lives are
  integrated (Runge-Kutta in s = ln a + ln c) with C = 1 and stress factor 1 until the crack is 95 % through the
  thickness or 90 % across the width.  Kept are ln N_end and, at equal steps of x = n / N_end, ln a, ln c and the
  running maximum of the end measure (ln K, ln a or ln of the cracked share).  Any crack is a bilinear blend of four
  neighbours at equal x; C, the blade's stress and the scatter only stretch N_end.
* Initiation.  A blade with total hazard h(s) = Z sum_c n_c exp(k_c s) A_c is a candidate with probability E[h]
  (skipped over by one geometric number); its stress is drawn from the density ~ phi(s) h(s) and it is kept with
  probability (1 - exp(-h)) / h.  That is exact while E[h] <= 1; above it each blade is drawn plainly.
* Lives of a row that lose a blade before the study are drawn again.
* All strategies of a life meet the same first blades, calls of a technique on a crack at an outage, and crews;
  replacement blades are drawn anew for each strategy.
"""
import argparse, json, math, time, tomllib
import numpy as np
from functools import partial
import numba
from numba.core import cgutils, types
from numba.extending import intrinsic
from scipy import stats

njit = partial(numba.njit, error_model="numpy", cache=True)

NODES = 96            # steps of x = n / N_end in the growth tables
MAXC = 6000           # cracks of a row that are held at once
HB, H0MM, NH = 48, 0.1, 600   # longest crack: bins per octave from 0.1 mm; bin 0 is "none"

Q = ["p_any_loss", "losses", "blades_replaced", "blades_replaced_false", "rows_replaced", "cracks_found",
     "outages_with_call", "p_escalation", "blades_out", "cost", "cost_looks", "cost_out", "cost_new", "cost_beyond",
     "cost_losses", "days", "days_looks", "days_out", "days_new", "days_forced"]
NQ = len(Q)
(QA, QL, QR, QF, QRR, QC, QOC, QE, QO, QT, QTL, QTO, QTN, QTB, QTX, QD, QDL, QDO, QDN, QDF) = range(NQ)

# ------------------------------------------------------------------------------------------------ random numbers


def _zig():
    r, v = 3.6541528853610088, 0.00492867323399
    f = lambda x: math.exp(-0.5 * x * x)
    x = np.zeros(257)
    x[0], x[1] = v / f(r), r
    for i in range(1, 255):
        x[i + 1] = math.sqrt(-2.0 * math.log(v / x[i] + f(x[i])))
    return x


ZX = _zig()
ZQ = ZX[1:] / ZX[:-1]
ZR = 3.6541528853610088


def seed_state(*words):
    return np.random.SeedSequence([int(w) for w in words]).generate_state(4, np.uint64)


@njit(inline="always")
def _rotl(x, k):
    return (x << np.uint64(k)) | (x >> np.uint64(64 - k))


@njit(inline="always")
def bits(st):  # xoshiro256++
    out = _rotl(st[0] + st[3], 23) + st[0]
    t = st[1] << np.uint64(17)
    st[2] ^= st[0]
    st[3] ^= st[1]
    st[1] ^= st[2]
    st[0] ^= st[3]
    st[2] ^= t
    st[3] = _rotl(st[3], 45)
    return out


@njit(inline="always")
def uni(st):
    return (np.float64(np.int64(bits(st) >> np.uint64(11))) + 0.5) * (1.0 / 9007199254740992.0)


@njit
def _nrm_rare(st, i, u):
    """The rest of the ziggurat: wedge or tail; nan asks for another try."""
    if i == 0:
        while True:
            x = -math.log(uni(st)) / ZR
            y = -math.log(uni(st))
            if 2.0 * y > x * x:
                return ZR + x if u > 0 else -ZR - x
    x = u * ZX[i]
    f0 = math.exp(-0.5 * (ZX[i] * ZX[i] - x * x))
    f1 = math.exp(-0.5 * (ZX[i + 1] * ZX[i + 1] - x * x))
    if f1 + uni(st) * (f0 - f1) < 1.0:
        return x
    return math.nan


@njit(inline="always")
def nrm(st):
    while True:
        r = bits(st)
        i = np.int64(r & np.uint64(255))
        u = (np.float64(np.int64(r >> np.uint64(11))) + 0.5) * (2.0 / 9007199254740992.0) - 1.0
        if abs(u) < ZQ[i]:
            return u * ZX[i]
        x = _nrm_rare(st, i, u)
        if x == x:
            return x


@njit(inline="always")
def expo(st):
    return -math.log(uni(st))


@njit
def gamma(st, k):
    """Gamma of shape k and scale 1: Marsaglia and Tsang (2000)."""
    boost = 1.0
    if k < 1.0:
        boost = uni(st) ** (1.0 / k)
        k += 1.0
    d = k - 1.0 / 3.0
    c = 1.0 / math.sqrt(9.0 * d)
    while True:
        x = nrm(st)
        v = 1.0 + c * x
        if v > 0.0:
            v = v * v * v
            if math.log(uni(st)) < 0.5 * x * x + d - d * v + d * math.log(v):
                return boost * d * v


@intrinsic
def _pointer(typingctx, address):
    def codegen(context, builder, sig, args):
        return builder.inttoptr(args[0], cgutils.voidptr_t)
    return types.voidptr(types.uintp), codegen


@njit
def bare(a):
    """The same array without a reference count, which would be raised and lowered at every call (five times slower);
    its owner must outlive it."""
    return numba.carray(_pointer(a.ctypes.data), a.shape, a.dtype)


@njit
def draw(st, d, o):
    """A draw of the distribution in d[o : o + 4] = (kind, p, q, r)."""
    k = d[o]
    p, q, r = d[o + 1], d[o + 2], d[o + 3]
    if k == 2.0:
        return p * math.exp(q * nrm(st))
    if k == 0.0:
        return p
    if k == 1.0:
        return p + q * nrm(st)
    if k == 3.0:
        return q * expo(st) ** (1.0 / p)
    if k == 4.0:
        return p * q * q * gamma(st, 1.0 / (q * q))
    u = uni(st)
    if k == 5.0:
        return p + (q - p) * u
    f = (q - p) / (r - p)
    if u < f:
        return p + math.sqrt(u * (r - p) * (q - p))
    return r - math.sqrt((1.0 - u) * (r - p) * (r - q))


@njit
def draw_log(st, d, o):
    """The logarithm of such a draw."""
    if d[o] == 2.0:
        return d[o + 3] + d[o + 2] * nrm(st)
    return math.log(draw(st, d, o))


def dist(v):
    """A study file's distribution as four numbers."""
    if not isinstance(v, dict):
        return np.array([0.0, float(v), 0, 0])
    k = v["kind"]
    keys = set(v) - {"kind"}
    if k == "normal" and keys == {"mean", "sd"}:
        return np.array([1.0, v["mean"], v["sd"], 0])
    if k == "lognormal":
        if keys == {"median", "sigma_log"}:
            return np.array([2.0, v["median"], v["sigma_log"], math.log(v["median"])])
        if keys == {"median", "cov"}:
            return np.array([2.0, v["median"], math.sqrt(math.log1p(v["cov"] ** 2)), math.log(v["median"])])
        s2 = {frozenset(["mean", "cov"]): lambda: math.log1p(v["cov"] ** 2),
              frozenset(["mean", "sd"]): lambda: math.log1p((v["sd"] / v["mean"]) ** 2),
              frozenset(["mean", "sigma_log"]): lambda: v["sigma_log"] ** 2}[frozenset(keys)]()
        return np.array([2.0, v["mean"] * math.exp(-s2 / 2), math.sqrt(s2), math.log(v["mean"]) - s2 / 2])
    if k == "weibull":
        return np.array([3.0, v["shape"], v["scale"], 0])
    if k == "gamma":
        return np.array([4.0, v["mean"], v["cov"], 0])
    if k == "uniform":
        return np.array([5.0, v["low"], v["high"], 0])
    if k == "triangular":
        return np.array([6.0, v["low"], v["mode"], v["high"]])
    raise ValueError(f"unknown distribution {v}")


def ends(d, tail=2e-7):
    """Two ends between which nearly all draws of a distribution lie."""
    k = d[0]
    f = {0: lambda: (d[1], d[1]), 2: lambda: tuple(d[1] * np.exp(d[2] * stats.norm.ppf([tail, 1 - tail]))),
         1: lambda: tuple(d[1] + d[2] * stats.norm.ppf([tail, 1 - tail])),
         3: lambda: tuple(stats.weibull_min.ppf([tail, 1 - tail], d[1], scale=d[2])),
         4: lambda: tuple(stats.gamma.ppf([tail, 1 - tail], 1 / d[2] ** 2, scale=d[1] * d[2] ** 2)),
         5: lambda: (d[1], d[2]), 6: lambda: (d[1], d[3])}
    return f[int(k)]()


# ------------------------------------------------------------------------------------------------ growth


def newman_raju(a, c, t, b, sm, sb):
    """Stress intensities (deepest, surface) in MPa sqrt(m); lengths in mm.  Newman and Raju (1981)."""
    ac, at = a / c, a / t
    r = np.minimum(ac, 1.0 / ac)
    q = 1.0 + 1.464 * r ** 1.65
    fw = 1.0 / np.sqrt(np.cos(np.minimum(np.pi * c / (2 * b) * np.sqrt(at), 1.5707)))
    flat = ac <= 1.0
    m1 = np.where(flat, 1.13 - 0.09 * ac, np.sqrt(r) * (1 + 0.04 * r))
    m2 = np.where(flat, -0.54 + 0.89 / (0.2 + ac), 0.2 * r ** 4)
    m3 = np.where(flat, 0.5 - 1 / (0.65 + ac) + 14 * np.maximum(1 - ac, 0.0) ** 24, -0.11 * r ** 4)
    m = m1 + m2 * at ** 2 + m3 * at ** 4
    g_surf = 1.1 + 0.35 * at ** 2 * np.where(flat, 1.0, r)
    # f_phi: deepest 1 for a/c <= 1, else sqrt(c/a); surface sqrt(a/c) for a/c <= 1, else 1
    f_deep = np.where(flat, 1.0, np.sqrt(r))
    f_surf = np.where(flat, np.sqrt(r), 1.0)
    h1 = np.where(flat, 1 - 0.34 * at - 0.11 * ac * at,
                  1 - (0.04 + 0.41 * r) * at + (0.55 - 1.93 * r ** 0.75 + 1.38 * r ** 1.5) * at ** 2)
    h2 = np.where(flat, 1 - (1.22 + 0.12 * ac) * at + (0.55 - 1.05 * r ** 0.75 + 0.47 * r ** 1.5) * at ** 2,
                  1 - (2.11 - 0.77 * r) * at + (0.55 - 0.72 * r ** 0.75 + 0.14 * r ** 1.5) * at ** 2)
    root = np.sqrt(np.pi * a / 1000.0 / q) * m * fw
    least = 1e-3 * (sm + sb)
    return (np.maximum(sm + h2 * sb, least) * root * f_deep, np.maximum(sm + h1 * sb, least) * root * f_surf * g_surf)


class Growth:
    """The table of one hot spot under its growth law (C = 1, stress factor 1)."""

    def __init__(self, hs, law, ds=0.01, na=36, nr=21):
        keys = set(law) - {"coefficient_m_per_start", "exponent", "crack_sigma_log", "row_sigma_log", "basis"}
        if keys:
            raise ValueError(f"growth: unknown {keys}")
        m = law["exponent"]
        sm, sb = hs["stress"]["membrane_mpa"], hs["stress"]["bending_mpa"]
        crack, limit = hs["crack"], hs["limit"]
        da = dist(hs["initial_depth_mm"])
        lo, hi = ends(da)
        if crack["kind"] == "semi-elliptical":
            t, w = hs["section"]["thickness_mm"], hs["section"]["width_mm"]
            lo, hi = max(lo, 0.01), min(hi, t / 2)
            rlo, rhi = ends(dist(hs["initial_aspect"]))
            rlo, rhi = max(rlo, 0.1), min(rhi, 2.0)
            kk = lambda a, c: newman_raju(a, c, t, w / 2, sm, sb)
            past = lambda a, c: np.maximum(a / (0.95 * t), 2 * c / (0.9 * w))
        elif crack["kind"] == "fixed-factor":
            y, lod = crack["geometry_factor"], crack["length_over_depth"]
            rlo = rhi = 2.0 / lod
            nr = 2
            kk = lambda a, c: (y * (sm + sb) * np.sqrt(np.pi * a / 1000),) * 2
            if limit["kind"] == "depth":
                past = lambda a, c: a / limit["depth_mm"]
            elif limit["kind"] == "section-fraction":
                area = hs["section"]["thickness_mm"] * hs["section"]["width_mm"]
                past = lambda a, c: np.pi * a * c / 2 / (area * limit["fraction"])
            else:
                raise ValueError("fixed-factor with this limit is not done")
        else:
            raise ValueError(f"crack kind {crack['kind']} is not done")
        if hi - lo < 1e-9 * hi:
            lo, hi, na = lo * 0.999, hi * 1.001, 2
        if rhi - rlo < 1e-9 * rhi and crack["kind"] != "fixed-factor":
            rlo, rhi, nr = rlo * 0.999, rhi * 1.001, 2
        self.la = np.linspace(math.log(lo), math.log(hi), na)
        self.lr = np.linspace(math.log(rlo), math.log(rhi), nr) if rhi > rlo else np.array([math.log(rlo)] * 2)
        lr_step = self.lr[1] - self.lr[0] if rhi > rlo else 1.0

        if limit["kind"] == "toughness":
            measure = lambda a, c: np.log(np.maximum(*kk(a, c)))
        elif limit["kind"] == "depth":
            measure = lambda a, c: np.log(a)
        elif limit["kind"] == "section-fraction":
            area = hs["section"]["thickness_mm"] * hs["section"]["width_mm"]
            measure = lambda a, c: np.log(np.pi * a * c / 2 / area)
        else:
            raise ValueError(f"limit {limit['kind']} is not done")

        la, lr = np.meshgrid(self.la, self.lr, indexing="ij")
        p = la.ravel().copy()              # ln a
        s = (2 * la - lr).ravel().copy()   # ln a + ln c
        n = np.zeros_like(p)

        def slopes(s, p):
            a, c = np.exp(p), np.exp(s - p)
            kd, ks = kk(a, c)
            ra, rc = 1000 * kd ** m / a, 1000 * ks ** m / c
            if crack["kind"] == "fixed-factor":
                rc = ra
            return ra / (ra + rc), 1.0 / (ra + rc)

        hist = [(s, p, n, measure(np.exp(p), np.exp(s - p)), past(np.exp(p), np.exp(s - p)))]
        with np.errstate(all="ignore"):
            while True:
                k1, n1 = slopes(s, p)
                k2, n2 = slopes(s + ds / 2, p + ds / 2 * k1)
                k3, n3 = slopes(s + ds / 2, p + ds / 2 * k2)
                k4, n4 = slopes(s + ds, p + ds * k3)
                p = p + ds / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
                n = n + ds / 6 * (n1 + 2 * n2 + 2 * n3 + n4)
                s = s + ds
                a, c = np.exp(p), np.exp(s - p)
                hist.append((s, p, n, measure(a, c), past(a, c)))
                if np.all((hist[-1][4] >= 1.0) | (hist[-1][4] != hist[-1][4])):
                    break
        S, P, N, E, W = (np.array([h[i] for h in hist]) for i in range(5))
        x = np.linspace(0, 1, NODES + 1)
        out = np.empty((len(p), NODES + 2, 3), np.float32)
        ln_n = np.empty(len(p))
        for i in range(len(p)):
            j = int(np.argmax(~(W[:, i] < 1.0)))
            if j == 0:
                raise ValueError("an initial crack is beyond its table")
            f = (1.0 - W[j - 1, i]) / (W[j, i] - W[j - 1, i]) if W[j, i] == W[j, i] else 0.5
            n_end = N[j - 1, i] + f * (N[j, i] - N[j - 1, i])
            xs = N[: j + 1, i] / n_end
            xs[-1] = max(xs[-1], 1.0)
            e = np.maximum.accumulate(np.where(np.isfinite(E[: j + 1, i]), E[: j + 1, i], -1e9))
            out[i, :-1, 0] = np.interp(x, xs, P[: j + 1, i])
            out[i, :-1, 1] = np.interp(x, xs, S[: j + 1, i] - P[: j + 1, i])
            out[i, :-1, 2] = np.interp(x, xs, e)
            out[i, -1] = out[i, -2]
            ln_n[i] = math.log(n_end)
        self.table = out.reshape(len(self.la), len(self.lr), NODES + 2, 3)
        self.ln_n = ln_n.reshape(len(self.la), len(self.lr))
        self.grid = np.array([self.la[0], self.la[1] - self.la[0], self.lr[0], lr_step])
        self.m = m


# ------------------------------------------------------------------------------------------------ the kernel


@njit(inline="always")
def year_of(x, CL, k):
    """Year in which the clock in column k (reading at the start of each period) and k + 1 (rate) reads x."""
    i = 0
    while i + 1 < CL.shape[0] and x >= CL[i + 1, k]:
        i += 1
    if CL[i, k + 1] <= 0.0:
        return 1e9
    return CL[i, 0] + (x - CL[i, k]) / CL[i, k + 1]


@njit(inline="always")
def reading(y, CL, k):
    i = 0
    while i + 1 < CL.shape[0] and y >= CL[i + 1, 0]:
        i += 1
    return CL[i, k] + (y - CL[i, 0]) * CL[i, k + 1]


@njit
def hazard(kind, p, q, x):
    if x <= 0.0:
        return 0.0
    if kind == 0:
        return (x / q) ** p
    if kind == 1:
        return x / q
    z = (math.log(x) - math.log(q)) / p
    return -math.log(0.5 * math.erfc(z / math.sqrt(2.0)))


@njit
def unhazard(kind, p, q, h):
    if kind == 0:
        return q * h ** (1.0 / p)
    if kind == 1:
        return q * h
    # lognormal: bisection of ln x (not hot)
    lo, hi = math.log(q) - 12 * p, math.log(q) + 12 * p
    for _ in range(60):
        mid = 0.5 * (lo + hi)
        if hazard(kind, p, q, math.exp(mid)) < h:
            lo = mid
        else:
            hi = mid
    return math.exp(0.5 * (lo + hi))


@njit(inline="always")
def look_up(T, g, ia, ir, wa, wr, x):
    """ln a, ln c and end measure of a blend of four lines at x = n / N_end."""
    f = x * NODES
    i = np.int64(f)
    f -= i
    w00 = (1 - wa) * (1 - wr)
    w01 = (1 - wa) * wr
    w10 = wa * (1 - wr)
    w11 = wa * wr
    A = T[g, ia, ir, i, 0] * w00 + T[g, ia, ir + 1, i, 0] * w01 + T[g, ia + 1, ir, i, 0] * w10 + T[g, ia + 1, ir + 1, i, 0] * w11
    B = T[g, ia, ir, i, 1] * w00 + T[g, ia, ir + 1, i, 1] * w01 + T[g, ia + 1, ir, i, 1] * w10 + T[g, ia + 1, ir + 1, i, 1] * w11
    i += 1
    A2 = T[g, ia, ir, i, 0] * w00 + T[g, ia, ir + 1, i, 0] * w01 + T[g, ia + 1, ir, i, 0] * w10 + T[g, ia + 1, ir + 1, i, 0] * w11
    B2 = T[g, ia, ir, i, 1] * w00 + T[g, ia, ir + 1, i, 1] * w01 + T[g, ia + 1, ir, i, 1] * w10 + T[g, ia + 1, ir + 1, i, 1] * w11
    return A + f * (A2 - A), B + f * (B2 - B)


@njit(inline="always")
def end_at(T, g, ia, ir, wa, wr, i):
    return ((T[g, ia, ir, i, 2] * (1 - wr) + T[g, ia, ir + 1, i, 2] * wr) * (1 - wa)
            + (T[g, ia + 1, ir, i, 2] * (1 - wr) + T[g, ia + 1, ir + 1, i, 2] * wr) * wa)


# What is passed around, in few arrays (numba counts references of every array in a tuple, which costs more than the
# work itself):
#   cf  floats of each crack: birth, loss, starts at birth, N_end, weights wa and wr; then for each outage ln a,
#       ln 2c and 2c; then for each technique the shift it keeps and its standard normal number, then the last
#       measured length with its stamp
#   ci  whole numbers of each crack: blade, class, first outage, ia, ir, gone; then for each technique the outages
#       at which its answer is known, and those at which it calls, as bits
#   PC  classes (hot spots), CL clocks, SC scalars and outages, D techniques, T growth tables, INS inspections
BIRTH, LOSS, B0, NEND, WA, WR, SZ = range(7)
BLADE, CLS, FIRST, IA, IR, GONE, MEM = range(7)
P_KIND, P_P, P_Q, P_K, P_N, P_M, P_LNC, P_SIG, P_LIM, P_DEP, P_ASP, P_TOU, P_GRID, P_TILT = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 13, 17, 21, 27
S_END, S_NEND, S_SIGMA, S_J, S_OUT = 0, 1, 2, 3, 4   # then year and starts of each outage
D_KEPT = 21   # column of D where the weights of the normal numbers begin; 17..20 are the false-call lengths


@njit
def make_crack(st, T, PC, CL, SC, cf, ci, NT, n, blade, cls, install_x, h, s, growth):
    """Crack number n: begins when its origin's law has gathered the hazard h since the blade was new."""
    p = PC[cls]
    x = install_x + unhazard(p[P_KIND], p[P_P], p[P_Q], h)
    birth = year_of(x, CL, 3 + 2 * cls)
    b0 = reading(birth, CL, 1)
    g = cls
    G0 = P_GRID
    f = (draw_log(st, p, P_DEP) - p[G0]) / p[G0 + 1]
    f = min(max(f, 0.0), p[G0 + 4] - 1.000001)
    ia = np.int64(f)
    wa = f - ia
    f = (draw_log(st, p, P_ASP) - p[G0 + 2]) / p[G0 + 3] if p[P_ASP + 1] > 0.0 else 0.0
    f = min(max(f, 0.0), p[G0 + 5] - 1.000001)
    ir = np.int64(f)
    wr = f - ir
    z = NODES + 1
    lnn = ((T[g, ia, ir, z, 0] * (1 - wr) + T[g, ia, ir + 1, z, 0] * wr) * (1 - wa)
           + (T[g, ia + 1, ir, z, 0] * (1 - wr) + T[g, ia + 1, ir + 1, z, 0] * wr) * wa)
    n_end = math.exp(lnn - p[P_LNC] - p[P_SIG] * nrm(st) - growth - p[P_M] * s)
    level = draw_log(st, p, P_TOU)
    if p[P_LIM] == 0.0:
        level -= s
    # the loss, if it comes before the study ends
    loss = 1e9
    xe = (SC[S_NEND] - b0) / n_end
    top = NODES if xe >= 1.0 else np.int64(xe * NODES) + 1
    if xe > 0.0 and end_at(T, g, ia, ir, wa, wr, top) >= level:
        lo = 0
        if end_at(T, g, ia, ir, wa, wr, 0) >= level:
            loss = birth
        else:
            hi = top
            while hi - lo > 1:
                mid = (lo + hi) >> 1
                if end_at(T, g, ia, ir, wa, wr, mid) >= level:
                    hi = mid
                else:
                    lo = mid
            e0 = end_at(T, g, ia, ir, wa, wr, lo)
            e1 = end_at(T, g, ia, ir, wa, wr, hi)
            y = year_of(b0 + (lo + (level - e0) / (e1 - e0)) / NODES * n_end, CL, 1)
            if y < SC[S_END]:
                loss = y
    elif xe >= 1.0:
        y = year_of(b0 + n_end, CL, 1)
        if y < SC[S_END]:
            loss = y
    J = np.int64(SC[S_J])
    j = 0
    while j < J and SC[S_OUT + 2 * j] < birth:
        j += 1
    ci[n, BLADE] = blade
    ci[n, CLS] = cls
    ci[n, FIRST] = j
    ci[n, IA] = ia
    ci[n, IR] = ir
    ci[n, GONE] = 0
    cf[n, BIRTH] = birth
    cf[n, LOSS] = loss
    cf[n, B0] = b0
    cf[n, NEND] = n_end
    cf[n, WA] = wa
    cf[n, WR] = wr
    for t in range(NT):
        ci[n, MEM + 2 * t] = 0
        ci[n, MEM + 2 * t + 1] = 0
        cf[n, SZ + 3 * J + 2 * t] = math.nan
        cf[n, SZ + 3 * J + 2 * t + 1] = math.nan


@njit
def size_crack(T, SC, cf, ci, n):
    """Sizes of crack n at the outages that it lives to see."""
    for j in range(ci[n, FIRST], np.int64(SC[S_J])):
        if SC[S_OUT + 2 * j] > cf[n, LOSS]:
            break
        x = (SC[S_OUT + 2 * j + 1] - cf[n, B0]) / cf[n, NEND]
        A, B = look_up(T, ci[n, CLS], ci[n, IA], ci[n, IR], cf[n, WA], cf[n, WR], min(x, 1.0))
        cf[n, SZ + 3 * j] = A
        cf[n, SZ + 3 * j + 1] = B + 0.6931471805599453
        cf[n, SZ + 3 * j + 2] = 2.0 * math.exp(B)


@njit(inline="always")
def candidate(PC, avail, Z):
    """Expected hazard of a blade, which is the chance that it is a candidate."""
    mean = 0.0
    for c in range(PC.shape[0]):
        mean += PC[c, P_TILT] * avail[c]
    return mean * Z


@njit
def grow_blade(st, T, PC, CL, SC, cf, ci, NT, n, blade, year, Z, G, avail, mean):
    """Cracks of a candidate (or of any blade, where mean > 1), from number n on: returns the number behind the last.
    avail: hazard of one origin of each class until the end, for Z = 1 and s = 0."""
    C = PC.shape[0]
    sigma = SC[S_SIGMA]
    if mean <= 1.0:
        c = 0
        if C > 1:   # stress of the candidate: density ~ phi(s) h(s)
            u = uni(st) * mean
            while c < C - 1:
                u -= Z * PC[c, P_TILT] * avail[c]
                if u < 0.0:
                    break
                c += 1
        s = sigma * nrm(st) + PC[c, P_K] * sigma * sigma
        total = 0.0
        for c in range(C):
            total += PC[c, P_N] * avail[c] * math.exp(PC[c, P_K] * s)
        total *= Z
        p = -math.expm1(-total)
        if uni(st) * total >= p:
            return n
        pos = -math.log1p(-uni(st) * p)
    else:
        s = sigma * nrm(st)
        pos = expo(st)
    off = 0.0
    for c in range(C):
        e = Z * math.exp(PC[c, P_K] * s)
        each = e * avail[c]
        width = PC[c, P_N] * each
        while pos < off + width:
            o = math.floor((pos - off) / each)
            h = (pos - off) - o * each
            make_crack(st, T, PC, CL, SC, cf, ci, NT, n, blade, c,
                       reading(year, CL, 3 + 2 * c), h / e, s, G[c])
            n += 1
            pos = off + (o + 1) * each + expo(st)
        off += width
    return n


@njit(inline="always")
def new_blade(st, T, PC, CL, SC, cf, ci, NT, n, blade, year, Z, G, avail):
    """Cracks of a blade that is new in a year; mostly there are none."""
    mean = candidate(PC, avail, Z)
    if mean <= 1.0 and uni(st) >= mean:
        return n
    return grow_blade(st, T, PC, CL, SC, cf, ci, NT, n, blade, year, Z, G, avail, mean)


@njit
def sow(st, T, PC, CL, SC, cf, ci, NT, n, base, blades, year, Z, G, avail):
    """Cracks of some blades that are new in a year, from number n on."""
    mean = candidate(PC, avail, Z)
    if mean <= 0.0:
        return n
    if mean > 0.999:
        for blade in range(blades):
            n = grow_blade(st, T, PC, CL, SC, cf, ci, NT, n, base + blade, year, Z, G, avail, 2.0)
        return n
    scale = -1.0 / math.log1p(-mean)
    b = expo(st) * scale
    while b < blades:
        blade = np.int64(b)
        n = grow_blade(st, T, PC, CL, SC, cf, ci, NT, n, base + blade, year, Z, G, avail, mean)
        b = blade + 1 + expo(st) * scale
    return n


@njit
def left(PC, CL, SC, year, av):
    """Hazard of one origin of each class from a year to the end, for Z = 1 and s = 0."""
    for c in range(PC.shape[0]):
        x = (reading(SC[S_END], CL, 3 + 2 * c)
             - reading(year, CL, 3 + 2 * c))
        av[c] = hazard(PC[c, P_KIND], PC[c, P_P], PC[c, P_Q], x)


@njit(inline="always")
def curve(shape, z):
    if shape == 0.0:
        return 1.0 / (1.0 + math.exp(-z))
    return 0.5 * math.erfc(-z * 0.7071067811865476)


@njit
def kept_shift(st, SC, D, cf, n, t):
    """The shift of ln q50 that crack n keeps for technique t."""
    at = SZ + 3 * np.int64(SC[S_J])
    v = 0.0
    for i in range(t + 1):
        if D[t, D_KEPT + i] != 0.0:
            z = cf[n, at + 2 * i + 1]
            if z != z:
                z = nrm(st)
                cf[n, at + 2 * i + 1] = z
            v += D[t, D_KEPT + i] * z
    cf[n, at + 2 * t] = v
    return v


@njit
def would_call(st, SC, D, cf, n, t, lna, lnl, insp):
    """Whether technique t calls crack n of that size, with an inspection's shift."""
    u = uni(st)
    if u >= D[t, 5]:
        return False
    v = cf[n, SZ + 3 * np.int64(SC[S_J]) + 2 * t]
    if v != v:
        v = kept_shift(st, SC, D, cf, n, t)
    size = lnl
    if D[t, 0] == 1.0:
        size = lna
    elif D[t, 0] == 2.0:
        size = 0.5 * (lna + lnl)
    p = D[t, 4] + (D[t, 5] - D[t, 4]) * curve(D[t, 1], (size - D[t, 2] - insp - v) / D[t, 3])
    if u >= p:
        return False
    if D[t, 7] > 0.0:
        return u < p * curve(D[t, 1], (lna - D[t, 6]) / D[t, 7])
    return True


@njit(inline="always")
def call_at(st, SC, D, INS, cf, ci, n, t, j):
    """Whether technique t calls crack n at outage j: one answer for all strategies."""
    bit = np.int64(1) << j
    if ci[n, MEM + 2 * t] & bit:
        return (ci[n, MEM + 2 * t + 1] & bit) != 0
    return first_call(st, SC, D, INS, cf, ci, n, t, j)


@njit
def first_call(st, SC, D, INS, cf, ci, n, t, j):
    bit = np.int64(1) << j
    ci[n, MEM + 2 * t] |= bit
    insp = INS[t, j]
    if insp != insp:
        insp = D[t, 8] * nrm(st)
        INS[t, j] = insp
    yes = would_call(st, SC, D, cf, n, t, cf[n, SZ + 3 * j], cf[n, SZ + 3 * j + 1], insp)
    if yes:
        ci[n, MEM + 2 * t + 1] |= bit
    return yes


@njit
def measured(st, SC, D, cf, n, t, j, stamp):
    """Length that technique t reports for crack n at outage j: one number however often it looks there.  The stamp
    names the life and the strategy."""
    J = np.int64(SC[S_J])
    at = SZ + 3 * J + 2 * D.shape[0] + 2 * t
    if cf[n, at] != stamp * J + j:
        cf[n, at] = stamp * J + j
        cf[n, at + 1] = cf[n, SZ + 3 * j + 2] * D[t, 9] * math.exp(D[t, 10] * nrm(st))
    return cf[n, at + 1]


@njit
def has_crack(ci, nc, blade, j):
    """Whether a crack has begun in a blade by outage j."""
    for n in range(nc):
        if ci[n, BLADE] == blade and ci[n, GONE] == 0 and ci[n, FIRST] <= j:
            return True
    return False


@njit
def indicate(IL, II, ni, blade, length, t, counts, fresh, quirks):
    """Notes an indication on a blade; returns the number of blades with one.  IL: longest counted length; II: blade,
    technique that reported it, whether any counts, and the calls on its cracks as serrata of 2026-11-26 counts them."""
    for i in range(ni):
        if II[i, 0] == blade:
            II[i, 3] += fresh
            if quirks:  # lengths of an overruled look count once another look calls the blade
                if length > IL[i]:
                    IL[i] = length
                    II[i, 1] = t
                if counts:
                    II[i, 2] = 1
            elif counts and (II[i, 2] == 0 or length > IL[i]):
                IL[i] = length
                II[i, 1] = t
                II[i, 2] = 1
            return ni
    II[ni, 0] = blade
    II[ni, 1] = t
    II[ni, 2] = 1 if counts else 0
    II[ni, 3] = fresh
    IL[ni] = length
    return ni + 1


@njit
def look(st, SC, D, INS, cf, ci, IL, II, ni, nc, nb, t, j, counts, frac, cover, clsmask, measure, seen, found, sched, false,
         quirks, stamp):
    """Technique t looks at the row at outage j; returns blades with indications, and whether anything was called.
    seen: of each crack, 1 if it is counted as found at this outage, + 2 if a scheduled look called it."""
    any_call = False
    for n in range(nc):
        if ci[n, GONE] != 0 or ci[n, FIRST] > j:
            continue
        if not (clsmask >> ci[n, CLS]) & 1:
            continue
        if frac < 1.0 and not cover[ci[n, BLADE]]:
            continue
        if call_at(st, SC, D, INS, cf, ci, n, t, j):
            any_call = True
            length = 0.0
            if measure:
                length = measured(st, SC, D, cf, n, t, j, stamp)
            if counts and not seen[n] & 1:
                seen[n] |= 1
                found[0] += 1
            fresh = 0 if seen[n] & 2 else 1
            if sched:
                seen[n] |= 2
            ni = indicate(IL, II, ni, ci[n, BLADE], length, t, counts, fresh, quirks)
    if false and D[t, 11] > 0.0:
        # false calls by skipping: D[t, 12] = -1 / ln(1 - p)
        b = expo(st) * D[t, 12]
        while b < nb:
            blade = np.int64(b)
            if (frac >= 1.0 or cover[blade]) and not has_crack(ci, nc, blade, j):
                any_call = True
                length = draw(st, D[t], 17) if measure else 0.0
                ni = indicate(IL, II, ni, blade, length, t, counts, 0, quirks)
            b = blade + 1 + expo(st) * D[t, 12]
    return ni, any_call


@njit
def live(st, trials, nb, cohort_n, cohort_year, cohort_av, zdist, rowsig, lawof, T, PC, CL, SC, D, cf, ci, past_year,
         past_tech, start, ST, out_av, disc_out, ECON, lossdist, pay, quirks, sums, years, outs_sum, hist, tries):
    """Lives of one row under all strategies, added to the sums."""
    (nlook, l_sched, l_tech, l_frac, l_mask, l_esc, l_stands, ndisp, d_below, d_act, row_from, loss_row, end_out,
     end_kind, single) = ST
    (out_cost, out_days, nb_cost, nb_days, nr_cost, nr_days, loss_days, day_cost, window, rate) = ECON
    S, J, C, NT = nlook.shape[0], out_av.shape[0], PC.shape[0], D.shape[0]
    end_year = SC[S_END]
    own = (np.zeros(C), np.empty((NT, J)), np.zeros(NQ), np.zeros(years.shape[1]), np.zeros(1100),
           np.zeros((1100, 4), np.int64), np.zeros(MAXC, np.int64), np.zeros(1, np.int64), np.zeros(nb, np.bool_),
           np.zeros(1100, np.int64), np.zeros(1100, np.int64), np.zeros(C), np.zeros(NT, np.bool_),
           np.zeros(rowsig.shape[0]))
    G, INS, v, yl, IL, II, seen, found, cover = (bare(own[0]), bare(own[1]), bare(own[2]), bare(own[3]), bare(own[4]),
                                                 bare(own[5]), bare(own[6]), bare(own[7]), bare(own[8]))
    wb, wt, av, escd, lawz = bare(own[9]), bare(own[10]), bare(own[11]), bare(own[12]), bare(own[13])
    st, T, PC, CL, SC, D, cf, ci = bare(st), bare(T), bare(PC), bare(CL), bare(SC), bare(D), bare(cf), bare(ci)
    out_av, cohort_av, zdist, lossdist = bare(out_av), bare(cohort_av), bare(zdist), bare(lossdist)
    ln2 = 1.0 / math.log(2.0)
    for _t in range(trials):
        # ---- the row up to the start of the study
        while True:
            tries[0] += 1
            Z = draw(st, zdist, 0)
            for i in range(rowsig.shape[0]):
                lawz[i] = rowsig[i] * nrm(st)
            for c in range(C):
                G[c] = lawz[lawof[c]]
            nc = 0
            base = 0
            for k in range(cohort_n.shape[0]):
                nc = sow(st, T, PC, CL, SC, cf, ci, NT, nc, base, cohort_n[k], cohort_year[k], Z, G, cohort_av[k])
                base += cohort_n[k]
            good = True
            for k in range(past_year.shape[0] + 1):
                y = past_year[k] if k < past_year.shape[0] else start
                for n in range(nc):
                    if ci[n, GONE] == 0 and cf[n, LOSS] < y:
                        good = False
                        break
                if not good:
                    break
                if k == past_year.shape[0]:
                    break
                t = past_tech[k]
                insp = D[t, 8] * nrm(st)
                starts_now = reading(y, CL, 1)
                last = nc
                for n in range(last):
                    if ci[n, GONE] != 0 or cf[n, BIRTH] > y:
                        continue
                    x = (starts_now - cf[n, B0]) / cf[n, NEND]
                    A, B = look_up(T, ci[n, CLS], ci[n, IA], ci[n, IR], cf[n, WA], cf[n, WR], min(x, 1.0))
                    if would_call(st, SC, D, cf, n, t, A, B + 0.6931471805599453, insp):
                        seen[n] = 1
                for n in range(last):
                    if seen[n]:
                        seen[n] = 0
                        if ci[n, GONE] != 0:
                            continue
                        for i in range(last):
                            if ci[i, BLADE] == ci[n, BLADE]:
                                ci[i, GONE] = 1
                        left(PC, CL, SC, y, av)
                        nc = new_blade(st, T, PC, CL, SC, cf, ci, NT, nc, ci[n, BLADE], y, Z, G, av)
            if good:
                break
        # cracks that are in the row now, to the front
        m = 0
        for n in range(nc):
            if ci[n, GONE] == 0:
                if m != n:
                    for i in range(SZ):
                        cf[m, i] = cf[n, i]
                    for i in range(SZ + 3 * J, SZ + 3 * J + 2 * NT):
                        cf[m, i] = cf[n, i]
                    for i in range(ci.shape[1]):
                        ci[m, i] = ci[n, i]
                ci[m, GONE] = 0
                size_crack(T, SC, cf, ci, m)
                m += 1
        base_n = m
        INS[:] = math.nan
        # ---- the strategies
        for q in range(S):
            nc = base_n
            v[:] = 0.0
            had_loss = False
            stamp = (_t + 1.0) * S + q
            once = single[q] and row_from[q] == 0 and not loss_row[q] and end_out[q] < 0
            for l in range(nlook[q]):
                if l_esc[q, l, 0] >= 0 and not l_stands[q, l]:
                    once = False
            for n in range(nc):
                ci[n, GONE] = 0
            nw = 0
            for j in range(J + 1):
                till = SC[S_OUT + 2 * j] if j < J else end_year
                # losses until this outage, in order of time
                while True:
                    y = till
                    who = -1
                    for n in range(nc):
                        if cf[n, LOSS] <= y and ci[n, GONE] == 0:
                            y = cf[n, LOSS]
                            who = n
                    if who < 0:
                        break
                    if not had_loss:
                        had_loss = True
                        yl[:] = 0.0
                    v[QL] += 1.0
                    v[QA] = 1.0
                    yl[int(y - start)] += 1.0
                    f = present(y - start, rate, pay)
                    v[QTX] += f * (draw(st, lossdist, 0) + loss_days * day_cost)
                    v[QDF] += loss_days
                    left(PC, CL, SC, y, av)
                    if loss_row[q]:
                        for n in range(nc):
                            ci[n, GONE] = 1
                        nw = 0
                        v[QRR] += 1.0
                        v[QTN] += f * nr_cost
                        first = nc
                        nc = sow(st, T, PC, CL, SC, cf, ci, NT, nc, 0, nb, y, Z, G, av)
                    else:
                        blade = ci[who, BLADE]
                        for n in range(nc):
                            if ci[n, BLADE] == blade:
                                ci[n, GONE] = 1
                        i = 0
                        while i < nw:          # a watched blade that is lost is watched no more
                            if wb[i] == blade:
                                nw -= 1
                                wb[i] = wb[nw]
                                wt[i] = wt[nw]
                            else:
                                i += 1
                        first = nc
                        nc = new_blade(st, T, PC, CL, SC, cf, ci, NT, nc, blade, y, Z, G, av)
                    for n in range(first, nc):
                        size_crack(T, SC, cf, ci, n)
                if j == J:
                    break
                # ---- the outage
                days = 0.0
                out = False
                new_row = False
                if end_out[q] == j:
                    if end_kind[q] == 1:
                        for i in range(j, J):
                            hist[q, i, 0] += 1
                        break
                    new_row = True
                    if quirks:  # watched blades are still looked at
                        for i in range(nw):
                            t = wt[i]
                            v[QTL] += disc_out[j] * (D[t, 13] + D[t, 14])
                            for n in range(nc):
                                if ci[n, BLADE] == wb[i] and ci[n, GONE] == 0 and ci[n, FIRST] <= j:
                                    if call_at(st, SC, D, INS, cf, ci, n, t, j):
                                        v[QC] += 1.0
                    nw = 0
                else:
                    ni = 0
                    nesc = False
                    called = False
                    found[0] = 0
                    for l in range(nlook[q]):
                        if not l_sched[q, l, j]:
                            continue
                        if l_frac[q, l] < 1.0:
                            for b in range(nb):
                                cover[b] = uni(st) < l_frac[q, l]
                        this = False
                        for i in range(l_tech.shape[2]):
                            t = l_tech[q, l, i]
                            if t < 0:
                                break
                            v[QTL] += disc_out[j] * (D[t, 13] + D[t, 14] * nb * l_frac[q, l])
                            v[QDL] += D[t, 15]
                            days += D[t, 15]
                            if D[t, 16] > 0.0:
                                out = True
                            stands = l_stands[q, l] or l_esc[q, l, 0] < 0
                            ni, yes = look(st, SC, D, INS, cf, ci, IL, II, ni, nc, nb, t, j, stands, l_frac[q, l], cover,
                                           l_mask[q, l], not single[q], seen, found, True, True, quirks,
                                           stamp)
                            if yes:
                                this = True
                        if this:
                            called = True
                            if l_esc[q, l, 0] >= 0:
                                for i in range(l_esc.shape[2]):
                                    if l_esc[q, l, i] >= 0:
                                        escd[l_esc[q, l, i]] = True
                                        nesc = True
                    # watched blades, by the technique that reported the longest indication
                    for t in range(NT):
                        some = 0
                        for i in range(nw):
                            if wt[i] != t:
                                continue
                            done = False
                            for l in range(nlook[q]):
                                if l_sched[q, l, j] and l_frac[q, l] >= 1.0:
                                    for k in range(l_tech.shape[2]):
                                        if l_tech[q, l, k] == t:
                                            done = True
                            if done:
                                some += quirks  # the same calls and lengths once more, only dearer; but they stand
                                if quirks:
                                    for n in range(nc):
                                        if ci[n, BLADE] == wb[i] and ci[n, GONE] == 0 and ci[n, FIRST] <= j:
                                            if call_at(st, SC, D, INS, cf, ci, n, t, j):
                                                ni = indicate(IL, II, ni, wb[i], 0.0, t, True, 0, quirks)
                                continue
                            some += 1
                            clean = True
                            for n in range(nc):
                                if ci[n, BLADE] == wb[i] and ci[n, GONE] == 0 and ci[n, FIRST] <= j:
                                    clean = False
                                    if call_at(st, SC, D, INS, cf, ci, n, t, j):
                                        length = measured(st, SC, D, cf, n, t, j, stamp)
                                        if not seen[n] & 1:
                                            seen[n] |= 1
                                            found[0] += 1
                                        ni = indicate(IL, II, ni, wb[i], length, t, True, 0 if seen[n] & 2 else 1,
                                                      quirks)
                            if clean and not quirks and uni(st) < D[t, 11]:
                                ni = indicate(IL, II, ni, wb[i], draw(st, D[t], 17), t, True, 0, quirks)
                        if some > 0:
                            v[QTL] += disc_out[j] * (D[t, 13] * (some if quirks else 1) + D[t, 14] * some)
                            if D[t, 16] > 0.0:
                                out = True
                    nw = 0
                    if called:
                        v[QOC] += 1.0
                    if nesc:
                        v[QE] = 1.0
                        for t in range(NT):
                            if escd[t]:
                                escd[t] = False
                                v[QTL] += disc_out[j] * (D[t, 13] + D[t, 14] * nb)
                                v[QDL] += D[t, 15]
                                days += D[t, 15]
                                if D[t, 16] > 0.0:
                                    out = True
                                anew = True
                                if quirks:  # a technique that has looked already calls the same blades falsely
                                    for l in range(nlook[q]):
                                        if l_sched[q, l, j] and l_frac[q, l] >= 1.0:
                                            for k in range(l_tech.shape[2]):
                                                if l_tech[q, l, k] == t:
                                                    anew = False
                                ni, yes = look(st, SC, D, INS, cf, ci, IL, II, ni, nc, nb, t, j, True, 1.0, cover,
                                               np.int64(-1), not single[q], seen, found, False, anew, quirks,
                                               stamp)
                    if quirks and not once:
                        found[0] = 0
                        for i in range(ni):
                            if II[i, 2] == 1:
                                found[0] += II[i, 3]
                    v[QC] += found[0]
                    if ni > 0:
                        for n in range(nc):
                            seen[n] = 0
                    # what becomes of blades with an indication
                    if ni > 0:
                        counted = 0
                        for i in range(ni):
                            if II[i, 2] == 1:
                                counted += 1
                                k = 0
                                while k < ndisp[q] - 1 and IL[i] >= d_below[q, k]:
                                    k += 1
                                if d_act[q, k] == 2:
                                    new_row = True
                        if counted > 0 and row_from[q] > 0 and counted >= row_from[q]:
                            new_row = True
                        if not new_row and counted > 0:
                            first = nc
                            for i in range(ni):
                                if II[i, 2] == 0:
                                    continue
                                k = 0
                                while k < ndisp[q] - 1 and IL[i] >= d_below[q, k]:
                                    k += 1
                                if d_act[q, k] == 1:
                                    wb[nw] = II[i, 0]
                                    wt[nw] = II[i, 1]
                                    nw += 1
                                    continue
                                v[QR] += 1.0
                                v[QTN] += disc_out[j] * nb_cost
                                v[QDN] += nb_days
                                days += nb_days
                                clean = True
                                for n in range(first):
                                    if ci[n, BLADE] == II[i, 0] and ci[n, GONE] == 0:
                                        if ci[n, FIRST] <= j:
                                            clean = False
                                        ci[n, GONE] = 1
                                if clean:
                                    v[QF] += 1.0
                                nc = new_blade(st, T, PC, CL, SC, cf, ci, NT, nc, II[i, 0], SC[S_OUT + 2 * j], Z, G, out_av[j])
                            for n in range(first, nc):
                                size_crack(T, SC, cf, ci, n)
                if new_row:
                    nw = 0
                    for n in range(nc):
                        ci[n, GONE] = 1
                    v[QRR] += 1.0
                    v[QTN] += disc_out[j] * nr_cost
                    v[QDN] += nr_days
                    days += nr_days
                    out = True
                    first = nc
                    nc = sow(st, T, PC, CL, SC, cf, ci, NT, nc, 0, nb, SC[S_OUT + 2 * j], Z, G, out_av[j])
                    for n in range(first, nc):
                        size_crack(T, SC, cf, ci, n)
                if out:
                    v[QO] += 1.0
                    v[QTO] += disc_out[j] * out_cost
                    v[QDO] += out_days
                    days += out_days
                if days > window:
                    v[QTB] += disc_out[j] * (days - window) * day_cost
                # what is in the row now
                count = 0
                longest = 0.0
                total = 0.0
                for n in range(nc):
                    if ci[n, GONE] == 0 and ci[n, FIRST] <= j:
                        count += 1
                        total += cf[n, SZ + 3 * j + 2]
                        longest = max(longest, cf[n, SZ + 3 * j + 2])
                if count > 0:
                    outs_sum[q, j, 0] += count
                    outs_sum[q, j, 1] += count * count
                    outs_sum[q, j, 2] += 1.0
                    outs_sum[q, j, 3] += total
                    outs_sum[q, j, 4] += total * total
                    outs_sum[q, j, 5] += total * count
                    h = int(HB * math.log(longest / H0MM) * ln2) + 1
                    hist[q, j, min(max(h, 1), NH - 1)] += 1
                else:
                    hist[q, j, 0] += 1
            v[QT] = v[QTL] + v[QTO] + v[QTN] + v[QTB] + v[QTX]
            v[QD] = v[QDL] + v[QDO] + v[QDN] + v[QDF]
            for i in range(NQ):
                sums[q, i, 0] += v[i]
                sums[q, i, 1] += v[i] * v[i]
            if had_loss:
                for i in range(yl.shape[0]):
                    if yl[i] > 0.0:
                        years[q, i, 0] += yl[i]
                        years[q, i, 1] += yl[i] * yl[i]
                        years[q, i, 2] += 1.0


@njit
def present(y, rate, pay):
    if pay == 1:
        y = math.floor(y)
    elif pay == 2:
        y = math.floor(y) + 0.5
    elif pay == 3:
        y = math.floor(y) + 1.0
    return (1.0 + rate) ** -y


# ------------------------------------------------------------------------------------------------ the study file

KNOWN = {
    "": {"study", "money", "scatter", "surfaces", "initiation", "growth", "roots", "units", "rows", "techniques",
         "persistence", "strategies", "costs"},
    "study": {"name", "start_year", "horizon_years", "baseline"},
    "money": {"currency", "discount_rate_per_year", "terms", "payments"},
    "scatter": {"row_factor", "blade_stress_sigma_log", "basis"},
    "surface": {"initiation_life_factor", "basis"},
    "initiation": {"clock", "kind", "shape", "scale", "median", "sigma_log", "mean", "stress_exponent", "basis"},
    "root": {"basis", "hot_spots"},
    "hot_spot": {"serrations", "sides", "positions", "origins", "initiation", "growth", "stress", "section", "crack",
                 "initial_depth_mm", "initial_aspect", "limit", "basis"},
    "unit": {"duty", "outages", "basis"},
    "row": {"unit", "rotor", "blades", "root", "surface", "in_service_year", "renewed", "past_looks", "basis"},
    "technique": {"access", "pod", "depth_gate", "grade", "grade_shift_log", "surface_shift_log", "inspection_sigma",
                  "crack_sigma", "false_call_probability", "false_call_length_mm", "sizing", "cost_per_row",
                  "cost_per_blade", "days_per_row", "basis"},
    "strategy": {"description", "looks", "dispositions", "replace_row_from_blades", "after_loss", "row_end", "basis"},
    "look": {"techniques", "first_outage", "every_outages", "coverage", "escalation"},
    "costs": {"blades_out_cost", "blades_out_days", "new_blade_cost", "new_blade_days", "new_row_cost",
              "new_row_days", "loss_cost", "loss_days", "outage_day_cost", "basis"},
}


def check(name, table):
    more = set(table) - KNOWN[name]
    if more:
        raise ValueError(f"{name or 'study file'}: {sorted(more)} not known here")


class Twin:
    """A study made ready."""

    def __init__(self, path, quirks=False):
        d = tomllib.load(open(path, "rb"))
        self.quirks = quirks
        check("", d)
        for k in ("study", "money", "scatter", "costs"):
            check(k, d[k])
        for k, name in (("surfaces", "surface"), ("initiation", "initiation"), ("roots", "root"), ("units", "unit"),
                        ("rows", "row"), ("techniques", "technique"), ("strategies", "strategy")):
            for t in d.get(k, {}).values():
                check(name, t)
        for s in d["strategies"].values():
            for l in s.get("looks", []):
                check("look", l)
        for r in d["roots"].values():
            for h in r["hot_spots"].values():
                check("hot_spot", h)
        self.d = d
        self.start = float(d["study"]["start_year"])
        self.end = self.start + d["study"]["horizon_years"]
        self.strategies = list(d["strategies"])
        self.rows = list(d["rows"])
        self.pay = ["when-due", "year-start", "year-middle", "year-end"].index(d["money"]["payments"])
        self.growth = {}
        for rn, r in d["roots"].items():
            if any(row["root"] == rn for row in d["rows"].values()):
                for hn, h in r["hot_spots"].items():
                    self.growth[rn, hn] = Growth(h, d["growth"][h["growth"]])
        self.made = {name: self.make(name) for name in self.rows}

    def outages(self, unit):
        o = unit["outages"]
        if "years" in o:
            return np.array(o["years"], float), o["window_days"]
        k0 = math.ceil((self.start - o["first_year"]) / o["every_years"] - 1e-9)
        ys = [o["first_year"] + k * o["every_years"] for k in range(k0, k0 + 1000)]
        return np.array([y for y in ys if self.start <= y < self.end], float), o["window_days"]

    def make(self, name):
        d = self.d
        row = d["rows"][name]
        unit = d["units"][row["unit"]]
        life = d["surfaces"][row["surface"]]["initiation_life_factor"]
        outs, window = self.outages(unit)
        duty = unit["duty"]
        yb = np.array([p["from_year"] for p in duty], float)

        def clock(ws, wh):
            r = np.array([ws * p["starts_per_year"] + wh * p["hours_per_year"] for p in duty], float)
            x = np.concatenate([[0.0], np.cumsum(r[:-1] * np.diff(yb))])
            return x, r

        sb, sr = clock(1.0, 0.0)
        spots = d["roots"][row["root"]]["hot_spots"]
        ckind, cp, cq, ks, nor, xb, xr, cm, clnC, csig, cdep, casp, clim, ctough, laws, lawof = ([] for _ in range(16))
        gs = []
        for hn, h in spots.items():
            ini = d["initiation"][h["initiation"]]
            kind = ["weibull", "exponential", "lognormal"].index(ini["kind"])
            ckind.append(kind)
            cp.append([ini.get("shape"), 1.0, ini.get("sigma_log")][kind])
            cq.append([ini.get("scale"), ini.get("mean"), ini.get("median")][kind] * life)
            ks.append(float(ini["stress_exponent"]))
            nor.append(len(h["serrations"]) * len(h["sides"]) * h.get("positions", 1) * h.get("origins", 1))
            c = ini["clock"]
            w = (1.0, 0.0) if c == "starts" else (0.0, 1.0) if c == "hours" else (c["per_start"], c["per_hour"])
            x, r = clock(*w)
            xb.append(x)
            xr.append(r)
            law = d["growth"][h["growth"]]
            cm.append(float(law["exponent"]))
            clnC.append(math.log(law["coefficient_m_per_start"]))
            csig.append(float(law["crack_sigma_log"]))
            if h["growth"] not in laws:
                laws.append(h["growth"])
            lawof.append(laws.index(h["growth"]))
            cdep.append(dist(h["initial_depth_mm"]))
            casp.append(dist(h["initial_aspect"]) if "initial_aspect" in h else np.zeros(4))
            lim = h["limit"]
            clim.append(["toughness", "depth", "section-fraction"].index(lim["kind"]))
            ctough.append(dist(lim.get("toughness_mpa_sqrt_m", lim.get("depth_mm", lim.get("fraction")))))
            gs.append(self.growth[row["root"], hn])
        C = len(spots)
        na, nr = max(g.table.shape[0] for g in gs), max(g.table.shape[1] for g in gs)
        T = np.zeros((C, na, nr, NODES + 2, 3), np.float32)
        LNN = np.zeros((C, na, nr))
        GRID = np.zeros((C, 6))
        for i, g in enumerate(gs):
            a, r = g.ln_n.shape
            T[i, :a, :r] = g.table
            LNN[i, :a, :r] = g.ln_n
            GRID[i] = [*g.grid, a, r]
        arr = np.array
        rowsig = arr([float(d["growth"][l]["row_sigma_log"]) for l in laws])
        xb, xr = arr(xb), arr(xr)
        CL = np.column_stack([yb, sb, sr] + [z for c in range(C) for z in (xb[c], xr[c])]).astype(float)
        starts = lambda y: reading.py_func(y, CL, 1)
        T[:, :, :, -1, 0] = LNN
        sigma = float(d["scatter"]["blade_stress_sigma_log"])
        PC = np.column_stack([ckind, cp, cq, ks, nor, cm, clnC, csig, clim, cdep, casp, ctough, GRID,
                              arr(nor) * np.exp(0.5 * (arr(ks) * sigma) ** 2)]).astype(float)
        SC = arr([self.end, starts(self.end), sigma, len(outs)] + [z for y in outs for z in (y, starts(y))])

        # cohorts: blades of equal age
        cohorts = [(row["blades"], float(row["in_service_year"]))]
        last = {}
        for r in row.get("renewed", []):
            for b in r["blades"]:
                last[b] = max(last.get(b, -1e9), float(r["year"]))
        for y in sorted(set(last.values())):
            n = sum(1 for b in last if last[b] == y)
            cohorts.append((n, y))
            cohorts[0] = (cohorts[0][0] - n, cohorts[0][1])
        cohorts = [c for c in cohorts if c[0] > 0]

        def avail(y):
            return [hazard.py_func(ckind[c], cp[c], cq[c], reading.py_func(self.end, CL, 3 + 2 * c)
                                   - reading.py_func(y, CL, 3 + 2 * c)) for c in range(C)]

        # techniques in use on this row, in the order of the file
        used = {p["technique"] for p in row.get("past_looks", [])}
        for s in d["strategies"].values():
            for l in s.get("looks", []):
                used |= set(l["techniques"]) | set(l.get("escalation", {}).get("techniques", []))
        names = [t for t in d.get("techniques", {}) if t in used]
        NT = max(len(names), 1)
        D = np.zeros((NT, 17))
        FL = np.zeros((NT, 4))
        R = np.eye(NT)
        for p in d.get("persistence", []):
            if all(t in names for t in p["techniques"]):
                i, j = (names.index(t) for t in p["techniques"])
                R[i, j] = R[j, i] = p["correlation"]
        Lf = np.linalg.cholesky(R + 1e-12 * np.eye(NT))
        for i, t in enumerate(names):
            q = d["techniques"][t]
            pod = q["pod"]
            gate = q.get("depth_gate")
            D[i] = [["length", "depth", "geometric-mean"].index(pod["size"]), ["logistic", "normal"].index(pod["shape"]),
                    math.log(pod["q50_mm"]) + q["grade_shift_log"] + q.get("surface_shift_log", {}).get(row["surface"], 0.0),
                    pod["spread"], pod["floor"], pod["ceiling"], math.log(gate["q50_mm"]) if gate else 0.0,
                    gate["spread"] if gate else 0.0, q["inspection_sigma"], q["sizing"]["length_bias"],
                    q["sizing"]["length_sigma_log"], q["false_call_probability"],
                    -1.0 / math.log1p(-q["false_call_probability"]) if q["false_call_probability"] > 0 else 0.0,
                    q["cost_per_row"], q["cost_per_blade"], q["days_per_row"], q["access"] == "blades-out"]
            FL[i] = dist(q["false_call_length_mm"])
            Lf[i] *= q["crack_sigma"]
        Lf[np.abs(Lf) < 1e-9] = 0.0

        past = [(float(p["year"]), names.index(p["technique"])) for p in row.get("past_looks", [])]
        past_year = arr([p[0] for p in past], float)
        past_tech = arr([p[1] for p in past], np.int64) if past else np.zeros(0, np.int64)

        # strategies
        S, J = len(d["strategies"]), len(outs)
        nl = max(1, max(len(s.get("looks", [])) for s in d["strategies"].values()))
        nt = max(1, max((len(l["techniques"]) for s in d["strategies"].values() for l in s.get("looks", [])), default=1))
        ne = max(1, max((len(l.get("escalation", {}).get("techniques", [])) for s in d["strategies"].values()
                         for l in s.get("looks", [])), default=1))
        nlook = np.zeros(S, np.int64)
        l_sched = np.zeros((S, nl, J), np.bool_)
        l_tech = np.full((S, nl, nt), -1)
        l_frac = np.ones((S, nl))
        l_mask = np.full((S, nl), -1)
        l_esc = np.full((S, nl, ne), -1)
        l_stands = np.zeros((S, nl), np.bool_)
        nd = max(1, max(len(s.get("dispositions", [])) for s in d["strategies"].values()))
        ndisp = np.zeros(S, np.int64)
        d_below = np.full((S, nd), np.inf)
        d_act = np.zeros((S, nd), np.int64)
        row_from = np.zeros(S, np.int64)
        loss_row = np.zeros(S, np.bool_)
        end_out = np.full(S, -1)
        end_kind = np.zeros(S, np.int64)
        single = np.zeros(S, np.bool_)
        for i, s in enumerate(d["strategies"].values()):
            for l in s.get("looks", []):
                cov = l.get("coverage", {})
                if "rows" in cov and name not in cov["rows"]:
                    continue
                k = nlook[i]
                nlook[i] += 1
                for j in range(J):
                    l_sched[i, k, j] = j + 1 >= l["first_outage"] and (j + 1 - l["first_outage"]) % l["every_outages"] == 0
                l_tech[i, k, : len(l["techniques"])] = [names.index(t) for t in l["techniques"]]
                l_frac[i, k] = cov.get("blade_fraction", 1.0)
                if "hot_spots" in cov:
                    l_mask[i, k] = sum(1 << c for c, h in enumerate(spots) if h in cov["hot_spots"])
                if "escalation" in l:
                    e = l["escalation"]
                    l_esc[i, k, : len(e["techniques"])] = [names.index(t) for t in e["techniques"]]
                    l_stands[i, k] = e["first_call_stands"]
            ds = s.get("dispositions", [])
            ndisp[i] = len(ds)
            for k, x in enumerate(ds):
                d_below[i, k] = x.get("below_mm", np.inf)
                d_act[i, k] = ["replace", "watch", "replace-row"].index(x["action"])
            single[i] = len(ds) <= 1 and (not ds or d_act[i, 0] == 0)
            row_from[i] = s.get("replace_row_from_blades", 0)
            loss_row[i] = s["after_loss"] == "replace-row"
            if "row_end" in s:
                later = np.nonzero(outs >= s["row_end"]["year"])[0]
                if len(later):
                    end_out[i] = later[0]
                    end_kind[i] = ["new-row", "retired"].index(s["row_end"]["then"])
        ST = (nlook, l_sched, l_tech, l_frac, l_mask, l_esc, l_stands, ndisp, d_below, d_act, row_from, loss_row,
              end_out, end_kind, single)
        c = d["costs"]
        rate = d["money"]["discount_rate_per_year"]
        ECON = tuple(float(x) for x in (c["blades_out_cost"], c["blades_out_days"], c["new_blade_cost"],
                                        c["new_blade_days"], c["new_row_cost"], c["new_row_days"], c["loss_days"],
                                        c["outage_day_cost"], window, rate))
        J = len(outs)
        cf, ci = np.zeros((MAXC, SZ + 3 * J + 4 * NT)), np.zeros((MAXC, MEM + 2 * NT), np.int64)
        return dict(nb=row["blades"], cohort_n=arr([c[0] for c in cohorts]), cohort_year=arr([c[1] for c in cohorts]),
                    cohort_av=arr([avail(c[1]) for c in cohorts]), zdist=dist(d["scatter"]["row_factor"]),
                    rowsig=rowsig, lawof=arr(lawof),
                    T=T, PC=PC, CL=CL, SC=SC, D=np.column_stack([D, FL, Lf]), cf=cf, ci=ci, past_year=past_year,
                    past_tech=past_tech, start=self.start, ST=ST,
                    out_av=arr([avail(y) for y in outs]),
                    disc_out=arr([present.py_func(y - self.start, rate, self.pay) for y in outs]), ECON=ECON,
                    lossdist=dist(c["loss_cost"]), pay=self.pay, quirks=int(self.quirks))

    def run(self, trials, seed, rows=None):
        """Sums over lives, row by row."""
        out = {}
        S = len(self.strategies)
        for name in rows or self.rows:
            p = self.made[name]
            J = len(p["disc_out"])
            acc = (np.zeros((S, NQ, 2)), np.zeros((S, int(math.ceil(self.end - self.start)), 3)),
                   np.zeros((S, J, 6)), np.zeros((S, J, NH), np.int64), np.zeros(1, np.int64))
            live(seed_state(seed, self.rows.index(name)), trials, *p.values(), *acc)
            out[name] = acc
        return out


# ------------------------------------------------------------------------------------------------ what is written

PROBS = (0.5, 0.9, 0.95, 0.99)


def quantile(h, n, p):
    """Quantile of the longest crack and its standard error, from the histogram."""
    def at(q):
        q = min(max(q, 0.0), 1.0)
        cum = np.cumsum(h) / n
        i = int(np.searchsorted(cum, q, side="left"))
        if i == 0:
            return 0.0
        f = (q - cum[i - 1]) / (cum[i] - cum[i - 1])
        return H0MM * 2 ** ((i - 1 + f) / HB)
    e = 1.96 * math.sqrt(p * (1 - p) / n)
    return at(p), (at(p + e) - at(p - e)) / 3.92


COARSE = np.concatenate([2.0 ** k * (1 + np.arange(16) / 16) for k in range(-3, 9)])


def coarse_quantile(h, n, p):
    """The same quantile, but read off straight within bins of 16 to an octave, as serrata's documents say it does."""
    cum = np.cumsum(h) / n
    x = (np.log2(COARSE / H0MM)) * HB  # 0 is the lower end of bin 1
    c = np.interp(x, np.arange(len(cum)), cum)
    if p <= cum[0]:
        return 0.0
    i = int(np.searchsorted(c, p, side="left"))
    if i == 0 or i >= len(c):
        return None
    return COARSE[i - 1] + (COARSE[i] - COARSE[i - 1]) * (p - c[i - 1]) / (c[i] - c[i - 1])


def mean_se(s, s2, n):
    m = s / n
    return m, math.sqrt(max(s2 / n - m * m, 0.0) / n)


def report(twin, out, trials, seed):
    res = {"study": twin.d["study"]["name"], "trials": trials, "seed": seed, "rows": {}, "fleet": {},
           "quantities": Q, "tries_per_life": {}}
    for name, (sums, years, osum, hist, tries) in out.items():
        r = res["rows"][name] = {}
        res["tries_per_life"][name] = int(tries[0]) / trials
        outs = twin.made[name]["SC"][S_OUT::2]
        for q, s in enumerate(twin.strategies):
            e = r[s] = {"quantities": {}, "by_year": [], "by_outage": []}
            for i, k in enumerate(Q):
                m, se = mean_se(*sums[q, i], trials)
                e["quantities"][k] = [m, se]
            for y in range(years.shape[1]):
                m, se = mean_se(years[q, y, 0], years[q, y, 1], trials)
                e["by_year"].append({"year": twin.start + y, "losses": [m, se], "lives": int(years[q, y, 2])})
            for j in range(len(outs)):
                c, c2, a, l, l2, lc = osum[q, j]
                m, se = mean_se(c, c2, trials)
                ml = l / c if c else None
                sl = math.sqrt(max(l2 - 2 * ml * lc + ml * ml * c2, 0.0)) / c if c else None
                p = a / trials
                e["by_outage"].append({"year": float(outs[j]), "cracks": [m, se],
                                       "p_any_crack": [p, math.sqrt(p * (1 - p) / trials)], "mean_length_mm": [ml, sl],
                                       **{f"longest_mm_{round(100 * pr)}": quantile(hist[q, j], trials, pr)
                                          for pr in PROBS},
                                       **{f"coarse_longest_mm_{round(100 * pr)}": coarse_quantile(hist[q, j], trials, pr)
                                          for pr in PROBS}})
    for q, s in enumerate(twin.strategies):
        f = res["fleet"][s] = {"quantities": {}, "by_year": []}
        for k in Q:
            ms = np.array([res["rows"][n][s]["quantities"][k] for n in out])
            if k.startswith("p_"):   # rows are independent
                none = np.prod(1 - ms[:, 0])
                se = none * math.sqrt(np.sum((ms[:, 1] / np.maximum(1 - ms[:, 0], 1e-12)) ** 2))
                f["quantities"][k] = [1 - none, se]
            else:
                f["quantities"][k] = [ms[:, 0].sum(), math.sqrt((ms[:, 1] ** 2).sum())]
        ny = len(res["rows"][next(iter(out))][s]["by_year"])
        for y in range(ny):
            ms = np.array([res["rows"][n][s]["by_year"][y]["losses"] for n in out])
            f["by_year"].append({"year": twin.start + y, "losses": [ms[:, 0].sum(), math.sqrt((ms[:, 1] ** 2).sum())]})
        ms = np.array([res["rows"][n][s]["by_outage"][-1]["cracks"] for n in out])
        f["quantities"]["cracks_left_after_last_outage"] = [ms[:, 0].sum(), math.sqrt((ms[:, 1] ** 2).sum())]
    return res


def main():
    p = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    p.add_argument("study")
    p.add_argument("--trials", type=int, default=20000)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--json")
    a = p.parse_args()
    t0 = time.perf_counter()
    twin = Twin(a.study)
    t1 = time.perf_counter()
    twin.run(1, 0)
    t2 = time.perf_counter()
    out = twin.run(a.trials, a.seed)
    t3 = time.perf_counter()
    res = report(twin, out, a.trials, a.seed)
    print(f"tables {t1 - t0:.1f} s, compiling {t2 - t1:.1f} s, {a.trials} trials {t3 - t2:.2f} s: "
          f"{a.trials * len(out) / (t3 - t2):,.0f} row-lives a second")
    for s in twin.strategies:
        f = res["fleet"][s]["quantities"]
        print(f"{s:32s}" + "".join(f" {f[k][0]:.5g}±{1.96 * f[k][1]:.2g}" for k in
                                   ("p_any_loss", "losses", "cracks_found", "cracks_left_after_last_outage",
                                    "blades_replaced", "blades_replaced_false", "blades_out", "cost", "days")))
    if a.json:
        json.dump(res, open(a.json, "w"), indent=1)


if __name__ == "__main__":
    main()
