"""What comes out of the melt chamber, against SciPy.

The commands that Tintfall hands over (commands.csv) are followed through the chamber by SciPy alone:
once as a sum of incomplete gamma functions, integrated over each layer by quadrature, and once as
a plain convolution of sampled feeds with the sampled residence-time density. Both are compared with
the blends that Tintfall says come out (schedule.csv, six decimals).

The density of dead volume and tanks in series is the one of O. Levenspiel, Chemical Reaction
Engineering, 3rd edition, from memory: a gamma density moved by the dead volume.
"""

import csv
import subprocess

import numpy as np
from scipy import integrate, signal, special, stats

from tools import ROOT, Check

CHAMBERS = [(20.0, 30.0, 1), (12.5, 41.0, 3), (33.0, 18.0, 6)]
# Of volumes to six decimals, hundreds add up.
DECIMALS = 1e-5


def checks(tools):
    exact, sampled, balance = [], [], []
    for folder, chamber in prepared(tools):
        layers = read(folder / "schedule.csv")
        commands = read(folder / "commands.csv")
        volumes = column(layers, "volume_mm3")
        edges = np.concatenate([[0.0], np.cumsum(volumes)])
        places = column(commands, "extruded_mm3")
        for spool in (1, 2):
            feeds = column(commands, f"share_{spool}")
            printed = column(layers, f"printed_share_{spool}")
            exact.extend(abs(printed - by_quadrature(places, feeds, edges, chamber)))
            sampled.extend(abs(printed - by_sampling(places, feeds, edges, chamber)))
        balance.append(off_balance(layers, commands, edges, chamber))
    yield Check("blend of each layer, in closed form", "scipy.special.gammainc, scipy.integrate",
                max(exact), DECIMALS, len(exact))
    yield Check("blend of each layer, sampled", "scipy.signal.fftconvolve, scipy.stats.gamma",
                max(sampled), 2e-3, len(sampled))
    yield Check("what was fed is laid or left in the chamber", "sums, relative", max(balance), 1e-6,
                len(balance))


def prepared(tools):
    """Lag tests for several chambers, whose walls are all skin, and the lamp shade's fade."""
    spools = ROOT / "demo-models" / "calibration" / "spools.ron"
    for dead, mixed, tanks in CHAMBERS:
        machine = tools.folder / f"machine-{tanks}.ron"
        text = f"(version: 1, chamber: (dead_mm3: {dead}, mixed_mm3: {mixed}, tanks: {tanks}))"
        machine.write_text(text, encoding="utf-8")
        out = tools.folder / f"lag-{tanks}"
        command = [tools.built / "tintfall", "lag-test", spools, "--machine", machine, "--out", out]
        subprocess.run(command, check=True, capture_output=True)
        yield out / "lag-test", (dead, mixed, tanks)
    yield tools.demos() / "lamp-shade", CHAMBERS[0]


def read(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def column(rows, name):
    return np.array([float(row[name]) for row in rows])


def by_quadrature(places, feeds, edges, chamber):
    """The mean over each layer of a sum of step responses."""
    dead, mixed, tanks = chamber
    steps = np.diff(feeds)

    def out(volume):
        past = np.maximum(volume - places[1:] - dead, 0.0) / (mixed / tanks)
        return feeds[0] + np.sum(steps * special.gammainc(tanks, past))

    means = []
    for low, high in zip(edges[:-1], edges[1:]):
        # A response has a corner where its command leaves the dead volume.
        corners = [p + dead for p in places[1:] if low < p + dead < high]
        total, _ = integrate.quad(out, low, high, points=corners or None, epsabs=1e-10, limit=200)
        means.append(total / (high - low))
    return np.array(means)


def by_sampling(places, feeds, edges, chamber):
    """A plain convolution on a fine grid."""
    dead, mixed, tanks = chamber
    step = 0.05
    memory = dead + 40.0 * mixed
    grid = np.arange(-memory, edges[-1] + step, step) + 0.5 * step
    index = np.searchsorted(places, grid, side="right") - 1
    fed = feeds[np.maximum(index, 0)]
    at = np.arange(0.0, memory, step)
    # What each sample of age weighs, from the distribution function so that it adds up to 1.
    weights = np.diff(stats.gamma.cdf(np.append(at, memory), tanks, loc=dead, scale=mixed / tanks))
    laid = signal.fftconvolve(fed, weights)[: len(grid)]
    sums = np.concatenate([[0.0], np.cumsum(laid) * step])
    ends = np.concatenate([[grid[0] - 0.5 * step], grid + 0.5 * step])
    return np.diff(np.interp(edges, ends, sums)) / np.diff(edges)


def off_balance(layers, commands, edges, chamber):
    """Fed less laid is what the chamber holds at the end less what it held at the beginning."""
    dead, mixed, tanks = chamber
    places = np.append(column(commands, "extruded_mm3"), edges[-1])
    feeds = column(commands, "share_1")
    fed = np.sum(np.diff(places) * feeds)
    laid = np.sum(np.diff(edges) * column(layers, "printed_share_1"))
    survival = lambda v: stats.gamma.sf(v, tanks, loc=dead, scale=mixed / tanks)
    held = 0.0
    for start, end, share in zip(edges[-1] - places[:-1], edges[-1] - places[1:], feeds):
        held += share * integrate.quad(survival, end, start, points=[dead] if end < dead < start
                                       else None, limit=200)[0]
    held += feeds[0] * integrate.quad(survival, edges[-1], np.inf)[0]
    before = feeds[0] * (dead + mixed)
    return abs(fed + before - laid - held) / edges[-1]
