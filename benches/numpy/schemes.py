"""What a search does with one scheme, in NumPy: what all choices of ticks show over climates, rows and extreme contents,
and the widest ladder of even levels among them.

    python3 schemes.py INPUT.json OUTPUT.json

Batched over climates, classes, rows, contents and choices; the only loops are over schemes, over fields, over the steps of a
ladder that are tried, and over the doublings of a power. All in float64, with as many threads as NumPy's BLAS takes.
"""

import json
import sys
import time

import numpy as np

ZERO_C_K = 273.15
REFERENCE_C = 23.0
GAS_KJ_PER_MOL_K = 8.314462618e-3
# Terms of the series of an exponential, and the size of its argument below which they are exact to rounding.
TERMS = 10
PIECE = 0.125


def soft_plus(x, s):
    return s * np.logaddexp(0.0, x / s)


def bernoulli(x):
    small = np.abs(x) < 1e-5
    safe = np.where(small, 1.0, x)
    return np.where(small, 1.0 - 0.5 * x, safe / np.expm1(safe))


class Movers:
    """Every class at every climate: the last axis of all rates, climate by climate."""

    def __init__(self, kinetics, climates):
        self.kinetics = kinetics
        spread = kinetics["spread"]
        along = self.nodes(spread["mobility_nodes"])
        across = self.nodes(spread["threshold_nodes"])
        rho = np.clip(spread["correlation"], -1.0, 1.0)
        independent = np.sqrt(1.0 - rho * rho) if len(across[0]) > 1 else 0.0
        a, b = (g.ravel() for g in np.meshgrid(along[0], across[0], indexing="ij"))
        share = np.outer(along[1], across[1]).ravel()
        mobility = np.exp(spread["mobility_sigma"] * a)
        shift = spread["threshold_sigma_v"] * (rho * a + independent * b)
        temperature = np.array([c["temperature_c"] for c in climates])
        stretch = np.array([c["stretch"] for c in climates])
        self.climates, self.classes = len(climates), len(share)
        self.share = share
        self.speed = np.outer(self.law(temperature), mobility).ravel()
        above = kinetics["threshold_slope_v_per_k"] * (temperature - REFERENCE_C)
        self.shift_all = np.repeat(above, self.classes)
        self.shift = self.shift_all + np.tile(shift, self.climates)
        self.stretch = np.repeat(stretch, self.classes)
        self.lowest = np.array([0.0, 0.0, 0.0, 1.0]) if kinetics.get("store") else np.array([1.0, 0.0, 0.0, 1.0])
        self.highest = np.array([1.0, 1.0, 1.0, 1.0]) if kinetics.get("window") else np.array([1.0, 1.0, 0.0, 1.0])

    @staticmethod
    def nodes(n):
        x, w = np.polynomial.hermite_e.hermegauss(n)
        return x, w / w.sum()

    def law(self, temperature_c):
        law = self.kinetics["temperature"]
        t, t0 = temperature_c + ZERO_C_K, REFERENCE_C + ZERO_C_K
        if "arrhenius" in law:
            e = law["arrhenius"]["activation_kj_per_mol"]
            return np.exp(-e / GAS_KJ_PER_MOL_K * (1.0 / t - 1.0 / t0))
        b, v = law["vft"]["strength_k"], law["vft"]["vogel_k"]
        return np.exp(b / max(t0 - v, 1.0) - b / np.maximum(t - v, 1.0))

    def exchange(self, name, v):
        e = self.kinetics.get(name)
        if e is None:
            return np.zeros_like(v), np.zeros_like(v)
        x = (v - e["offset_v"]) / e["scale_v"]
        return e["rate_per_s"] * bernoulli(-x), e["rate_per_s"] * bernoulli(x)

    def crossing(self, name, drive_v, shift_v):
        c = self.kinetics[name]
        return c["rate_per_vs"] * soft_plus(drive_v - c["threshold_v"] - shift_v, c["softness_v"])

    def holds(self, v, seconds):
        """Maps of constant voltages, holds × movers × 4 × 4, on cumulative shares and a constant 1."""
        v, seconds = np.asarray(v)[:, None], np.asarray(seconds)[:, None]
        up1, down1 = self.exchange("store", v)
        up3, down3 = self.exchange("window", v)
        up1, down1, up3, down3 = (self.speed * r for r in (up1, down1, up3, down3))
        up2 = self.speed * self.crossing("crossing", v, self.shift)
        down2 = self.speed * self.crossing("returning", -v, self.shift_all)
        t = seconds * self.stretch
        g = np.zeros(t.shape + (4, 4))
        g[..., 0, 0], g[..., 0, 1], g[..., 0, 3] = -(up1 + down1), down1, up1
        g[..., 1, 0], g[..., 1, 1], g[..., 1, 2] = up2, -(up2 + down2), down2
        g[..., 2, 1], g[..., 2, 2] = up3, -(up3 + down3)
        # Uniformisation: no negative term in the series.
        q = np.maximum(np.maximum(up1 + down1, up2 + down2), up3 + down3) * t
        squarings = max(0, int(np.ceil(np.log2(max(q.max() / PIECE, 1.0)))))
        scale = 0.5**squarings
        jump = g * (t * scale)[..., None, None]
        jump[..., range(4), range(4)] += (q * scale)[..., None]
        result = np.eye(4) + jump / TERMS
        for n in range(TERMS - 1, 0, -1):
            result = np.eye(4) + (jump @ result) / n
        result *= np.exp(-q * scale)[..., None, None]
        for _ in range(squarings):
            result = result @ result
        return result


def powers(m, n):
    """Powers 0…n along a new first axis, by doubling."""
    all_ = np.empty((n + 1,) + m.shape)
    all_[0] = np.eye(4)
    if n:
        all_[1] = m
    have = 1
    while have < n:
        more = min(have, n - have)
        all_[have + 1 : have + more + 1] = all_[1 : more + 1] @ all_[have]
        have += more
    return all_


def reach(movers, scheme, rows, panel_rows, settle_s):
    """Lowest and highest coverage of every choice of ticks, the last field's fastest."""
    erase, fields = scheme["erase"], scheme["fields"]
    v = [s["pixel_v"] for s in erase["strokes"]] + [0.0, 0.0]
    seconds = [s["ms"] * 1e-3 for s in erase["strokes"]] + [settle_s, erase["rest_ms"] * 1e-3]
    for f in fields:
        tick_s = f["tick_us"] * 1e-6
        v += [f["select_v"] + f["data_v"], f["select_v"] - f["data_v"], -f["data_v"], f["data_v"], 0.0]
        slot_s = f["slot_ticks"] * tick_s
        seconds += [tick_s, tick_s, slot_s, slot_s, f["guard_ticks"] * tick_s]
    maps = movers.holds(v, seconds)
    strokes = len(erase["strokes"])
    settle, rest = maps[strokes], maps[strokes + 1]
    # Contents × 1 × movers × 4: the clear panel before all others off, the dark one before all on.
    x = np.stack([movers.lowest, movers.highest])[:, None, None, :, None]
    for s in range(strokes):
        x = maps[s] @ x
    x = np.broadcast_to(x, (2, len(rows), maps.shape[1], 4, 1))
    for i, f in enumerate(fields):
        on, off, low, high, guard = maps[strokes + 2 + 5 * i : strokes + 7 + 5 * i]
        n = f["slot_ticks"]
        own = powers(off, n)[::-1] @ powers(on, n)
        other = guard @ np.stack([low, high])
        each = powers_at(other, [r for r in rows] + [panel_rows - 1 - r for r in rows])
        before, after = each[:, : len(rows)], each[:, len(rows) :]
        after = settle @ after @ guard
        # contents × rows × movers × 4 × choices so far
        x = before @ x
        if i + 1 < len(fields):
            x = np.einsum("crmij,kmjl,crmls->crmisk", after, own, x, optimize=True)
            x = x.reshape(x.shape[:4] + (-1,))
            continue
        # Coverage as a row of the state before the last own slot.
        eye = (rest @ after)[..., 1:2, :]
        eyes = np.einsum("crmaj,kmjl->crmkl", eye, own, optimize=True)
        eyes *= np.tile(movers.share, movers.climates)[:, None, None]
        shape = (2, len(rows), movers.climates, movers.classes)
        eyes = eyes.reshape(shape + eyes.shape[3:]).transpose(0, 1, 2, 3, 5, 4).reshape(shape[:3] + (-1, n + 1))
        x = x.reshape(shape + x.shape[3:]).transpose(0, 1, 2, 5, 3, 4).reshape(shape[:3] + (x.shape[-1], -1))
        coverage = (x @ eyes).reshape(shape[:3] + (-1,))
    return coverage[0].min(axis=(0, 1)), coverage[1].max(axis=(0, 1))


def powers_at(m, exponents):
    """m to several powers along a new second axis."""
    result = np.empty((m.shape[0], len(exponents)) + m.shape[1:])
    for k, n in enumerate(exponents):
        result[:, k] = np.linalg.matrix_power(m, n)
    return result


class Spots:
    """Middles and half-widths of the choices, by rising middle, the narrowest of each bucket."""

    def __init__(self, low, high, bucket_lstar):
        mid, half = 0.5 * (high + low), 0.5 * (high - low)
        order = np.argsort(mid, kind="stable")
        mid, half = mid[order], half[order]
        bucket = np.floor(mid / bucket_lstar)
        narrowest = np.lexsort((half, bucket))
        first = np.r_[True, np.diff(bucket[narrowest]) != 0.0]
        kept = narrowest[first]
        self.mid, self.half = mid[kept], half[kept]

    def darkest_target(self, levels, tolerance_steps, step):
        """The lightest place where the darkest target of a ladder of this step may lie; None where there is none."""
        first, last = self.mid[0], self.mid[-1] - (levels - 1) * step
        error = tolerance_steps * step
        keep = self.half <= error
        if last < first or not keep.any():
            return None
        slack = error - self.half[keep]
        low, high = self.mid[keep] - slack, self.mid[keep] + slack
        order = np.argsort(low, kind="stable")
        low, high = low[order], np.maximum.accumulate(high[order])
        begins = np.r_[True, low[1:] > high[:-1]]
        low, high = low[begins], high[np.r_[begins[1:], True]]
        shift = np.arange(levels)[:, None] * step
        opens = np.sort(np.r_[(low - shift).ravel(), first])
        closes = np.sort(np.r_[(high - shift).ravel(), last])
        # A place is served by all levels where as many more have opened, up to it, than closed before it.
        open_at = np.searchsorted(opens, closes, side="right") - np.arange(len(closes))
        served = closes[open_at == levels + 1]
        return served[-1] if len(served) else None


def widest(spots, demand):
    """Darkest target and step of the widest ladder, from above in coarse steps, then bisected; None where there is none."""
    levels, fine = demand["levels"], demand["fine_lstar"]
    steps = levels - 1
    top = spots.mid[-1] - spots.mid[0]
    lowest = max(1, int(np.ceil(demand["least_share"] * top / fine)))
    stride = max(1, round(demand["coarse_lstar"] / fine))

    def at(place):
        step = place * fine / steps
        darkest = spots.darkest_target(levels, demand["tolerance_steps"], step)
        return None if darkest is None else (darkest, step)

    place = int(np.floor(top / fine))
    above = place + 1
    if place < lowest:
        return None
    found = at(place)
    while found is None:
        if place == lowest:
            return None
        above = place
        place = max(place - stride, lowest)
        found = at(place)
    while above - place > 1:
        middle = place + (above - place) // 2
        better = at(middle)
        if better is None:
            above = middle
        else:
            found, place = better, middle
    return found


def evaluated(given, movers, scheme):
    low, high = reach(
        movers, scheme, given["rows"], given["panel_rows"], given["settle_ms"] * 1e-3
    )
    curve = given["curve_lstar"]
    at = np.linspace(0.0, 1.0, len(curve))
    spots = Spots(np.interp(high, at, curve), np.interp(low, at, curve), given["demand"]["bucket_lstar"])
    return low, high, widest(spots, given["demand"])


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        given = json.load(file)
    given["curve_lstar"] = np.array(given["curve_lstar"])
    results = []
    movers = [Movers(given["kinetics"], climates) for climates in given["climates"]]
    evaluated(given, movers[0], given["schemes"][0])
    # Of each scheme the fastest of some rounds, so that what else the machine does counts little.
    seconds = np.full(len(given["schemes"]), np.inf)
    for _ in range(given["rounds"]):
        results = []
        for i, s in enumerate(given["schemes"]):
            began = time.perf_counter()
            results.append(evaluated(given, movers[s["climates"]], s))
            seconds[i] = min(seconds[i], time.perf_counter() - began)
    told = {
        "numpy": np.__version__,
        "seconds": seconds.sum(),
        "results": [
            {"low": low.tolist(), "high": high.tolist(), "ladder": ladder} for low, high, ladder in results
        ],
    }
    with open(sys.argv[2], "w", encoding="utf-8") as file:
        json.dump(told, file)


if __name__ == "__main__":
    main()
