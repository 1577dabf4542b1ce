"""Fades keyed in at a screen, against every one that could be.

A part that stands still, fades, stands still, fades and stands still is given to screens that take
one fade or two, with each of the three things that a screen may do outside of its fades. One fade
is tried with every beginning, every end and every pair of blends in steps of five percent; two
fades are exact where the screen holds its blend. Colours are those of the schedule; differences
are reckoned with colour-science (CIE 142-2001).
"""

import csv
import warnings

import numpy as np
from scipy.interpolate import PchipInterpolator

from sent import write_block
from tools import Check

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

LAYER, TOP = 0.5, 30.0
GRID = 1000
STOPS = "(at_mm: 6.0, shares: [0.9, 0.1]), (at_mm: 11.0, shares: [0.35, 0.65]), " \
        "(at_mm: 19.0, shares: [0.35, 0.65]), (at_mm: 25.0, shares: [0.75, 0.25])"
EVENLY = "(at_mm: 0.25, shares: [0.0, 1.0]), (at_mm: 29.75, shares: [1.0, 0.0])"


def checks(tools):
    path, _, labs, areas = part(tools, "two-fades", STOPS)
    _, known_shares, known_labs, _ = part(tools, "evenly", EVENLY)
    order = np.argsort(known_shares)
    lab_of = PchipInterpolator(known_shares[order], known_labs[order])
    grid = np.linspace(0, 1, GRID + 1)
    # ΔE00² of every layer in every blend of a fine grid.
    table = np.array([colour.delta_E(np.broadcast_to(lab, (GRID + 1, 3)), lab_of(grid), method="CIE 2000")
                      for lab in labs])
    mean_of = lambda laid: table[np.arange(len(labs)), np.round(laid * GRID).astype(int)] @ areas / areas.sum()
    ask = lambda fades, outside: tools.tintfall("key-in", path, "--fades", fades, "--outside", outside)
    told, ours, brute = [], [], []
    for fades in (1, 2, 3, 5):
        for outside in ("unknown", "ends", "hold"):
            found = ask(fades, outside)
            laid = laid_by(found["fades"], outside, len(labs))
            told.append(abs(mean_of(laid) - found["fades_off"]["mean_de00"]))
            if fades == 1:
                ours.append(square_of(table, laid, areas))
                brute.append(best_of_one(table, outside, areas))
            if fades == 2 and outside == "hold":
                exact = mean_of(laid)
    yield Check("how far keyed fades are off, laid as the screen is said to", "colour-science ΔE00",
                max(told), 0.15, len(told))
    yield Check("one fade against every other one, sum of squares over the best", "brute force",
                max(o / b for o, b in zip(ours, brute)), 1.05, len(ours))
    yield Check("two fades where the screen holds its blend, mean ΔE00", "two fades were asked for",
                exact, 0.4, len(labs))


def part(tools, name, stops):
    """A block with a fade: its plan, and the shares, colours and visible areas of its layers."""
    write_block(tools.folder / f"{name}.stl", (20, 20, TOP))
    path = tools.folder / f"{name}.plan.ron"
    path.write_text(f"""(version: 1, title: "{name}", mesh: (file: "{name}.stl"), spools: [
        (name: "Deep blue", colour: Hex("#1d3f8f")), (name: "Warm white", colour: Hex("#f4efe4"))],
        layers: (first_layer_mm: {LAYER}, layer_mm: {LAYER}), machine: (most_layer_mm: 0.6),
        regions: [(name: "All", mask: Whole, paint: Fade(along: Height, fade: (stops: [{stops}],
        spacing: Linear)))])""", encoding="utf-8")
    out = tools.folder / f"{name}-out"
    tools.tintfall("prepare", path, "--out", out)
    lines = (out / "schedule.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    number = lambda name: np.array([float(row[name]) for row in rows])
    return path, number("share_1"), np.stack([number(f"lab_{i}") for i in "lab"], -1), \
        number("visible_area_mm2")


def laid_by(fades, outside, count):
    """The first spool's share in each layer."""
    middles = (np.arange(count) + 0.5) * LAYER
    laid = np.full(count, np.nan)
    for row in fades:
        low, high, start, end = row["from_mm"], row["to_mm"], row["start"][0], row["end"][0]
        inside = (middles >= low) & (middles < high)
        laid[inside] = start + (end - start) * (middles[inside] - low) / (high - low)
    bare = np.isnan(laid)
    below, above = middles < fades[0]["from_mm"], middles >= fades[-1]["to_mm"]
    if outside == "unknown":
        assert not bare.any(), "a gap that nobody fills"
    if outside == "ends":
        assert not (bare & ~below & ~above).any(), "a gap between fades"
    laid[below] = fades[0]["start"][0]
    for i in np.flatnonzero(np.isnan(laid)):
        laid[i] = [row["end"][0] for row in fades if row["to_mm"] <= middles[i]][-1]
    return laid


def square_of(table, laid, areas):
    return table[np.arange(len(laid)), np.round(laid * GRID).astype(int)] ** 2 @ areas


def best_of_one(table, outside, areas):
    """The least sum of squares of any one fade."""
    count = len(table)
    squares = table**2 * areas[:, None]
    blends = np.linspace(0, 1, 21)
    start, end = (v.ravel() for v in np.meshgrid(blends, blends, indexing="ij"))
    sums = np.concatenate([np.zeros((1, GRID + 1)), np.cumsum(squares, axis=0)])
    at = lambda share: np.round(share * GRID).astype(int)
    best = np.inf
    spans = [(0, count)] if outside == "unknown" else \
        [(i, j) for i in range(count) for j in range(i + 1, count + 1)]
    for low, high in spans:
        t = (np.arange(low, high) + 0.5 - low) / (high - low)
        laid = start[:, None] + (end - start)[:, None] * t
        inside = squares[np.arange(low, high), at(laid)].sum(axis=1)
        whole = inside + sums[low, at(start)] + sums[count, at(end)] - sums[high, at(end)]
        best = min(best, whole.min())
    return best
