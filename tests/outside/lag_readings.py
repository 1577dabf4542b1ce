"""Lag tests read by a reader of its own: does the ± hold the truth as often as it says?

A lag test is laid by plain convolution with the residence time of a pipe and a pot (O. Levenspiel,
Chemical Reaction Engineering, 3rd edition, from memory), and read by height with errors: of the
instrument, and of the rule. In half of the cases the spools mix as the schedule says, and were
measured; in the others they were not, are off by ΔE 2 or so, and mix as dots side by side that
spread a little (J. Yule, W. Nielsen, 1951, from memory), with a strong one and a weak one.

    python lag_readings.py TINTFALL [--cases N] [--seed S]      the whole study
"""

import argparse
import csv
import json
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np
from scipy import stats
from scipy.interpolate import PchipInterpolator

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

ROOT = Path(__file__).resolve().parents[2]
WHITE = np.array([0.3127, 0.3290])
GOOD, BAD = "measured", "not measured"


def to_xyz(lab):
    return colour.Lab_to_XYZ(lab, WHITE)


def to_lab(xyz):
    return colour.XYZ_to_Lab(xyz, WHITE)


class Test:
    """A lag test as it is handed over: where it changes, and what is laid by each height."""

    def __init__(self, tintfall, spools, folder):
        self.tintfall, self.folder = tintfall, folder
        subprocess.run([tintfall, "lag-test", spools, "--out", folder], check=True, capture_output=True)
        rows = self.table("lag-test/schedule.csv")
        self.tops = np.array([float(r["top_mm"]) for r in rows])
        self.laid = np.cumsum([float(r["volume_mm3"]) for r in rows])
        self.shares = np.array([float(r["share_1"]) for r in rows])
        lab = lambda r: np.array([float(r[f"lab_{i}"]) for i in "lab"])
        self.pure = {round(float(r["share_1"])): lab(r) for r in rows}
        commands = self.table("lag-test/commands.csv")
        self.places = np.array([float(r["extruded_mm3"]) for r in commands])
        self.feeds = np.array([float(r["share_1"]) for r in commands])
        heights = self.table("colours.csv")
        self.heights = np.array([float(r["height_mm"]) for r in heights])

    def table(self, name):
        lines = (self.folder / name).read_text(encoding="utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    def share_at(self, heights, dead, mixed):
        """The first spool's share in the layer at each height."""
        layer = np.minimum(np.searchsorted(self.tops, heights - 1e-9), len(self.tops) - 1)
        below = np.where(layer > 0, self.laid[layer - 1], 0.0)
        total = np.zeros(len(heights))
        looks = 8
        for i in range(looks):
            at = below + (self.laid[layer] - below) * (i + 0.5) / looks
            share = np.full(len(heights), self.feeds[0])
            for place, step in zip(self.places[1:], np.diff(self.feeds)):
                share += step * stats.expon.cdf(at - place, loc=dead, scale=mixed)
            total += share / looks
        return total

    def fit(self, name, columns, rows):
        path = self.folder / f"{name}.csv"
        with open(path, "w", encoding="utf-8", newline="") as file:
            table = csv.writer(file)
            table.writerow(columns)
            table.writerows(rows)
        done = subprocess.run([self.tintfall, "lag-fit", self.folder / "lag-test.plan.ron", path, "--json",
                               "--out", self.folder / "machine.ron"], check=True, capture_output=True, text=True)
        return json.loads(done.stdout)


def mixer(test, kind, known, rng):
    """From the first spool's share to CIELAB, on that day."""
    if kind == GOOD:
        return PchipInterpolator(*known)
    n, strength = rng.uniform(1.0, 3.0), np.exp(rng.normal(0, 0.45))
    ends = [to_xyz(test.pure[i] + 1.2 * rng.normal(size=3)) for i in (0, 1)]

    def mixed(share):
        part = share * strength / (share * strength + 1 - share)
        root = lambda xyz: np.maximum(xyz, 1e-4) ** (1 / n)
        return to_lab((part[:, None] * root(ends[1]) + (1 - part[:, None]) * root(ends[0])) ** n)

    return mixed


def zero(rng):
    """A rule's zero is not quite the bed, mm (common practice, no source)."""
    return 0.05 * rng.normal()


def colours_read(test, mix, truth, rng):
    read_at = test.heights
    really = read_at + zero(rng) + 0.1 * rng.normal(size=len(read_at))
    labs = mix(np.clip(test.share_at(np.clip(really, 0.05, test.tops[-1]), *truth), 0, 1))
    labs = labs + 0.6 * rng.normal(size=labs.shape)
    rows = [[f"{h:.2f}", *(f"{v:.3f}" for v in lab)] for h, lab in zip(read_at, labs)]
    return ["height_mm", "l", "a", "b"], rows


def ends_read(test, mix, truth, rng):
    """Where an eye with a threshold of its own sees each change begin and end."""
    fine = np.arange(0.1, test.tops[-1], 0.2)
    labs = mix(np.clip(test.share_at(fine, *truth), 0, 1))
    seen, rows, off_mm = rng.uniform(2.0, 4.5), [], zero(rng)
    heights = np.interp(test.places[1:], np.concatenate([[0], test.laid]), np.concatenate([[0], test.tops]))
    for change, (low, high) in enumerate(zip(heights, [*heights[1:], test.tops[-1]]), 1):
        here = (fine >= low) & (fine < high)
        old, new = (mix(np.array([self_share]))[0] for self_share in test.feeds[change - 1:change + 1])
        off = lambda lab: colour.delta_E(labs[here], np.broadcast_to(lab, labs[here].shape), method="CIE 2000")
        begins, ends = fine[here][off(old) > seen][0], fine[here][off(new) < seen]
        if len(ends):
            rows.append([change, f"{begins + off_mm + 0.15 * rng.normal():.2f}",
                         f"{ends[0] + off_mm + 0.3 * rng.normal():.2f}"])
    return ["change", "begins_mm", "ends_mm"], rows


READ = {"colours": colours_read, "ends": ends_read}


def studied(tintfall, folder, cases, seed):
    """For each way to read and each kind of spools how far values are off, in standard errors."""
    rng = np.random.default_rng(seed)
    calibration = ROOT / "demo-models" / "calibration"
    pair = folder / "pair.ron"
    subprocess.run([tintfall, "fit", calibration / "measured.csv", "--out", pair], check=True, capture_output=True)
    found = {}
    for kind, spools in ((GOOD, pair), (BAD, calibration / "spools.ron")):
        test = Test(tintfall, spools, folder / kind.replace(" ", "-"))
        known = shades(tintfall, folder, spools) if kind == GOOD else None
        for way, read in READ.items():
            for case in range(cases):
                truth = rng.uniform(10, 45), rng.uniform(15, 55)
                columns, rows = read(test, mixer(test, kind, known, rng), truth, rng)
                fit = test.fit("read", columns, rows)
                chamber = fit["chamber"]
                off = [(chamber["dead_mm3"] - truth[0], fit["dead_error_mm3"]),
                       (chamber["mixed_mm3"] - truth[1], fit["mixed_error_mm3"]),
                       (chamber["dead_mm3"] + chamber["mixed_mm3"] - sum(truth), fit["lag_error_mm3"])]
                found.setdefault((way, kind), []).append((off, bool(fit.get("warnings"))))
    return found


def shades(tintfall, folder, spools):
    """CIELAB of shares from 0 to 1, from the schedule of a fade."""
    from sent import write_block
    write_block(folder / "all.stl", (20, 20, 40))
    (folder / "all.plan.ron").write_text(f"""(version: 1, title: "all", mesh: (file: "all.stl"),
        spools: "{Path(spools).name}", layers: (first_layer_mm: 0.2, layer_mm: 0.2), regions: [(name: "All",
        mask: Whole, paint: Fade(along: Height, fade: (stops: [(at_mm: 0.1, shares: [0.0, 1.0]),
        (at_mm: 39.9, shares: [1.0, 0.0])], spacing: Linear)))])""", encoding="utf-8")
    subprocess.run([tintfall, "prepare", folder / "all.plan.ron", "--out", folder / "all"], check=True,
                   capture_output=True)
    lines = (folder / "all" / "schedule.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    share = np.array([float(r["share_1"]) for r in rows])
    labs = np.array([[float(r[f"lab_{i}"]) for i in "lab"] for r in rows])
    order = np.argsort(share)
    return share[order], labs[order]


def covered(list_of):
    within = [abs(off) <= error for offs, _ in list_of for off, error in offs]
    return float(np.mean(within)), len(within)


def told(found):
    lines = [f"{'read':8} {'spools':13} {'cases':>5}   within 1x: dead mixed  lag  all   off by, mm³: dead mixed lag   ±: dead mixed lag"]
    for (way, kind), cases in found.items():
        offs = np.array([[o for o in off] for off, _ in cases])
        within = (abs(offs[:, :, 0]) <= offs[:, :, 1]).mean(axis=0)
        rms, error = np.sqrt((offs[:, :, 0] ** 2).mean(axis=0)), np.median(offs[:, :, 1], axis=0)
        lines.append(f"{way:8} {kind:13} {len(cases):5}" + " " * 14 + " ".join(f"{w:4.2f}" for w in within)
                     + f" {within.mean():5.2f}" + " " * 15 + " ".join(f"{r:4.1f}" for r in rms)
                     + " " * 6 + " ".join(f"{e:4.1f}" for e in error)
                     + f"   warned {np.mean([w for _, w in cases]):.2f}")
    return "\n".join(lines)


def checks(tools):
    from tools import Check
    folder = tools.folder / "lag-readings"
    folder.mkdir()
    found = studied(tools.built / "tintfall", folder, 6, 3)
    for (way, kind), cases in found.items():
        part, count = covered(cases)
        # So few cases scatter; the study in docs/as-printed.md has many.
        yield Check(f"± of {way}, spools {kind}: part within 1x, off two thirds", "numpy, scipy.stats",
                    abs(part - 0.68), 0.4, count)
    yield Check("unmeasured spools read by their ends are not told to be read by colours", "counted",
                1 - np.mean([w for _, w in found["ends", BAD]]), 0.0, len(found["ends", BAD]))


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("tintfall", type=Path)
    asked.add_argument("--cases", type=int, default=40, help="of each kind")
    asked.add_argument("--seed", type=int, default=1)
    args = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        print(told(studied(args.tintfall.resolve(), Path(folder), args.cases, args.seed)))


if __name__ == "__main__":
    sys.exit(main())
