"""Bad prints, made by a simulator of their own, traced back to their cause.

The simulator knows nothing of how Tintfall traces. It feeds filament step by step: each drive's
gear, what the gear grips, what the filament's thickness makes of it; pushes the plastic through a
pipe into one stirred pot or two; and reads colours, filament and turns with errors, at the nozzle
as it was that day: chamber up to 15 % off, spools about ΔE 1 off. Some of its faults are not among
those that Tintfall looks for: a spool that tangles more and more until it snaps free, an inlet
half clogged that lets more and less through, a hotend that cools down, a spool whose thickness
changes, slips at random. Each counts as found where the finding sends a person to the right place.

    python bad_prints.py TINTFALL [--prints N] [--seed S]     the whole study, 10 of each kind

Which faults are usual, and how large: common practice, no source.
"""

import argparse
import csv
import json
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

TOP, CHANGE_MM = 60.0, 0.25
DEAD, MIXED = 20.0, 30.0
STEPS_PER_MM, STEPS_PER_TURN = 93.0, 3200.0
CROSS_SECTION = np.pi * 1.75**2 / 4.0
STEP = 0.5

PLAN = """(version: 1, title: "Tower", mesh: (file: "tower.stl"),
    spools: [(name: "Deep blue", colour: Hex("#1d3f8f")), (name: "Warm white", colour: Hex("#f4efe4"))],
    layers: (first_layer_mm: 0.25, layer_mm: 0.25),
    regions: [(name: "Tower", mask: Whole, paint: Fade(along: Height, fade: (
        stops: [(at_mm: 8.0, shares: [0.9, 0.1]), (at_mm: 44.0, shares: [0.2, 0.8])], spacing: Linear))),
        (name: "Band", mask: Band(from_mm: 50.0, to_mm: 60.0), paint: Fixed([0.8, 0.2]))])"""

LITTLE, MUCH = "a drive feeds too little", "a drive feeds too much"
SLIPS, SHORT = "a drive slips now and then", "all drives feed too little"
SWAPPED, LAG = "two spools are swapped", "the lag is set wrong"
HEIGHTS, LIMIT = "changes begin or end at wrong heights", "the hotend can't melt fast enough"


@dataclass
class Print:
    """What is true of one print. Feeds are functions of the height in mm."""

    kind: str
    truth: list  # For each fault the findings that are right: names with a drive or None.
    gear: list = field(default_factory=lambda: [lambda z: 1.0] * 2)
    grip: list = field(default_factory=lambda: [lambda z: 1.0] * 2)
    thickness: list = field(default_factory=lambda: [lambda z: 1.0] * 2)
    most: float = 9.0
    swapped: bool = False
    chamber: float = 1.0
    height: object = lambda z: z
    amounts: bool = True


def spell(ratio, low, high):
    return lambda z: ratio if low <= z < high else 1.0


def one(which, feed):
    return [feed if i == which else (lambda z: 1.0) for i in range(2)]


def made(kind, rng):
    """A print with a fault of a kind, of a size that matters."""
    drive = int(rng.integers(2))
    few = rng.uniform(0.2, 0.8)
    gear = rng.random() < 0.3
    feed = lambda f: {"gear" if gear else "grip": one(drive, f)}
    little = [[(LITTLE, drive)]]
    amounts = rng.random() < 0.65
    if kind == "nothing":
        return Print(kind, [], amounts=amounts)
    if kind == "too little from a height on":
        return Print(kind, little, **feed(spell(few, rng.uniform(0, 35), 99)), amounts=amounts)
    if kind == "too little until a height":
        return Print(kind, little, **feed(spell(few, -1, rng.uniform(15, 42))), amounts=amounts)
    if kind == "too little for a while":
        low = rng.uniform(8, 28)
        return Print(kind, little, **feed(spell(few, low, low + rng.uniform(9, 20))), amounts=amounts)
    if kind == "tangle":
        low, long = rng.uniform(5, 25), rng.uniform(12, 25)
        drag = lambda z: max(0.1, 1 - 0.95 * (z - low) / long) if low <= z < low + long else 1.0
        return Print(kind, [[(LITTLE, drive), (SLIPS, drive)]], grip=one(drive, drag), amounts=amounts)
    if kind == "inlet half clogged":
        low = rng.uniform(0, 25)
        walk = np.clip(rng.uniform(0.4, 0.75) + np.cumsum(rng.normal(0, 0.02, 300)), 0.15, 0.95)
        wander = lambda z: walk[min(int(z / 0.25), 299)] if z >= low else 1.0
        return Print(kind, [[(LITTLE, drive), (SLIPS, drive)]], grip=one(drive, wander), amounts=amounts)
    if kind == "too much":
        ratio = rng.uniform(1.14, 1.30)
        return Print(kind, [[(MUCH, drive)]], **feed(lambda z: ratio), amounts=rng.random() < 0.8)
    if kind == "another thickness":
        ratio = rng.choice([rng.uniform(0.78, 0.88), rng.uniform(1.13, 1.25)])
        low = rng.choice([-1.0, rng.uniform(5, 25)])
        # A thin filament lays what a thick one of the other spool does: a caliper tells them apart.
        own, other = (LITTLE, MUCH) if ratio < 1 else (MUCH, LITTLE)
        return Print(kind, [[(own, drive), (other, 1 - drive)]], thickness=one(drive, spell(ratio, low, 99)))
    if kind == "slips now and then":
        few, at, spells = rng.uniform(0.05, 0.5), rng.uniform(3, 10), []
        while at < TOP:
            long = rng.uniform(2, 7)
            spells.append((at, at + long))
            at += long + rng.uniform(4, 14)
        slips = lambda z: few if any(a <= z < b for a, b in spells) else 1.0
        return Print(kind, [[(SLIPS, drive), (LITTLE, drive)]], grip=one(drive, slips), amounts=amounts)
    if kind == "swapped":
        return Print(kind, [[(SWAPPED, None)]], swapped=True, amounts=amounts)
    if kind == "lag":
        return Print(kind, [[(LAG, None)]], chamber=rng.uniform(2.5, 6), amounts=amounts)
    if kind == "wrong heights":
        off = rng.choice([-1, 1]) * rng.uniform(4, 10)
        height = [lambda z: z - off, lambda z: z / (1 + 0.02 * off)][int(rng.integers(2))]
        return Print(kind, [[(HEIGHTS, None)]], height=height, amounts=amounts)
    if kind == "nozzle half clogged":
        low, all_of_them = rng.uniform(0, 25), rng.uniform(0.6, 0.85)
        return Print(kind, [[(SHORT, None)]], grip=[spell(all_of_them, low, 99)] * 2)
    if kind == "hotend cools down":
        last = rng.uniform(0.5, 0.75)
        return Print(kind, [[(SHORT, None)]], grip=[lambda z: 1 - (1 - last) * z / TOP] * 2)
    if kind == "can't melt":
        return Print(kind, [[(LIMIT, None)]], most=rng.uniform(0.5, 0.72), amounts=amounts)
    if kind == "two at once":
        low = rng.uniform(0, 25)
        more = {"chamber": rng.uniform(2.5, 5)} if rng.random() < 0.5 else {"swapped": True}
        second = [(LAG, None)] if "chamber" in more else [(SWAPPED, None)]
        return Print(kind, [[(LITTLE, drive)], second], **feed(spell(few, low, 99)), **more)
    raise ValueError(kind)


KINDS = ["nothing", "too little from a height on", "too little until a height",
         "too little for a while", "tangle", "inlet half clogged", "too much", "another thickness",
         "slips now and then", "swapped", "lag", "wrong heights", "nozzle half clogged",
         "hotend cools down", "can't melt", "two at once"]


def simulated(bad, job, rng):
    """Lays the print, and reads it: rows of the table of what was seen."""
    dead, mixed = (v * bad.chamber * rng.uniform(0.85, 1.15) for v in (DEAD, MIXED))
    pots = 2 if rng.random() < 0.25 else 1
    edges, places, shares = job
    start = shares[0]
    pipe = [(dead, 1 - start if bad.swapped else start)]
    pot, head = [pipe[0][1]] * pots, 0
    turned, taken = np.zeros(2), np.zeros(2)
    seen = []
    told = 0.0
    for layer, (low, high) in enumerate(zip(edges[:-1], edges[1:])):
        z = (layer + 0.5) * CHANGE_MM
        # Commands stand at heights; a wrong height carries them out at another place.
        asked_z = bad.height(z)
        shift = np.interp(asked_z, np.arange(len(edges)) * CHANGE_MM, edges) - 0.5 * (low + high)
        factor = [(bad.gear[i](z), bad.grip[i](z), bad.thickness[i](z)) for i in range(2)]
        count = max(1, round((high - low) / STEP))
        dv, laid, of_first = (high - low) / count, 0.0, 0.0
        for _ in range(count):
            told += dv
            i = np.searchsorted(places, told - 0.5 * dv + shift, side="right") - 1
            share = shares[max(i, 0)]
            volume = np.zeros(2)
            for drive, part in enumerate((share, 1 - share)):
                gear, grip, thickness = factor[drive]
                turned[drive] += dv * part * gear
                gripped = min(part * gear * grip, bad.most) * dv
                taken[drive] += gripped
                volume[drive] = gripped * thickness
            entering = volume[::-1] if bad.swapped else volume
            sum_of = entering.sum()
            if sum_of <= 0:
                continue
            pipe.append((sum_of, entering[0] / sum_of))
            wanted, first = sum_of, 0.0
            while wanted > 1e-12:
                held, its = pipe[head]
                take = min(held, wanted)
                first += take * its
                wanted -= take
                pipe[head] = (held - take, its)
                head += held <= take
            flowing = first / sum_of
            for k in range(pots):
                pot[k] += (flowing - pot[k]) * (1 - np.exp(-sum_of * pots / mixed))
                flowing = pot[k]
            laid += sum_of
            of_first += flowing * sum_of
        top = (layer + 1) * CHANGE_MM
        row = {"height_mm": f"{z:.3f}"}
        if laid > 0 and layer % 12 == 11:
            row["share"] = of_first / laid
        if bad.amounts and abs(top / 10 - round(top / 10)) < 1e-9:
            row["height_mm"] = f"{top:.3f}"
            for drive in range(2):
                length = taken[drive] / CROSS_SECTION
                turns = turned[drive] / CROSS_SECTION * STEPS_PER_MM / STEPS_PER_TURN
                row[f"filament_{drive + 1}_mm"] = length + 0.02 * max(length, 150) * rng.normal()
                row[f"turns_{drive + 1}"] = turns + 0.02 * max(turns, 5) * rng.normal()
        if len(row) > 1:
            seen.append(row)
    return seen


def with_colours(seen, known, rng):
    """Shares as colours, between those of the schedule, with spools and an instrument that err."""
    spools = 0.6 * rng.normal(size=(2, 3))
    for row in seen:
        if "share" in row:
            share = row.pop("share")
            lab = np.array([np.interp(share, known[0], known[1][:, i]) for i in range(3)])
            lab = lab + share * spools[0] + (1 - share) * spools[1] + 0.8 * rng.normal(size=3)
            row.update(zip("lab", lab))
    return seen


def tower(path):
    """A tube on the bed, 16 mm across with a wall of 1.2 mm, as plain STL."""
    count, lines = 40, ["solid tower"]
    angle = 2 * np.pi * np.arange(count) / count
    ring = lambda radius, z: [(radius * np.cos(a), radius * np.sin(a), z) for a in angle]
    rings = [ring(8.0, 0.0), ring(8.0, TOP), ring(6.8, TOP), ring(6.8, 0.0)]
    for one_ring, next_ring in zip(rings, rings[1:] + rings[:1]):
        for i in range(count):
            j = (i + 1) % count
            quad = one_ring[i], one_ring[j], next_ring[j], next_ring[i]
            for triangle in ((quad[0], quad[1], quad[2]), (quad[0], quad[2], quad[3])):
                lines.append("facet normal 0 0 0\nouter loop")
                lines += ["vertex %.9g %.9g %.9g" % corner for corner in triangle]
                lines.append("endloop\nendfacet")
    path.write_text("\n".join(lines + ["endsolid tower"]), encoding="utf-8")


def prepared(tintfall, folder):
    """The tower's layers and commands, and what colours its shares have."""
    tower(folder / "tower.stl")
    (folder / "tower.plan.ron").write_text(PLAN, encoding="utf-8")
    subprocess.run([tintfall, "prepare", folder / "tower.plan.ron", "--out", folder / "out"],
                   check=True, capture_output=True)
    rows = lambda name: list(csv.DictReader(
        line for line in (folder / "out" / name).read_text(encoding="utf-8").splitlines()
        if not line.startswith("#")))
    layers, commands = rows("schedule.csv"), rows("commands.csv")
    number = lambda table, name: np.array([float(row[name]) for row in table])
    edges = np.concatenate([[0.0], np.cumsum(number(layers, "volume_mm3"))])
    job = edges, number(commands, "extruded_mm3"), number(commands, "share_1")
    return job, colours(tintfall, folder)


def colours(tintfall, folder):
    """CIELAB of shares from 0 to 1: a fade all the way up, as the schedule tells it."""
    fade = PLAN[:PLAN.index("regions:")] + """regions: [(name: "All", mask: Whole, paint: Fade(along: Height,
        fade: (stops: [(at_mm: 0.125, shares: [0.0, 1.0]), (at_mm: 59.875, shares: [1.0, 0.0])], spacing: Linear)))])"""
    (folder / "all.plan.ron").write_text(fade, encoding="utf-8")
    subprocess.run([tintfall, "prepare", folder / "all.plan.ron", "--out", folder / "all"],
                   check=True, capture_output=True)
    lines = (folder / "all" / "schedule.csv").read_text(encoding="utf-8").splitlines()
    table = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    pick = lambda *names: np.array([[float(row[n]) for n in names] for row in table])
    share = pick("share_1")[:, 0]
    order = np.argsort(share)
    return share[order], pick("lab_l", "lab_a", "lab_b")[order]


COLUMNS = ["height_mm", "turns_1", "turns_2", "filament_1_mm", "filament_2_mm", "l", "a", "b"]


def write(path, seen):
    with open(path, "w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, COLUMNS)
        table.writeheader()
        for row in seen:
            table.writerow({k: v if isinstance(v, str) else f"{v:.4f}" for k, v in row.items()})


def names_of(finding):
    """Names of a finding's faults, each with its drive."""
    found = []
    for fault in finding["cause"]["faults"]:
        (kind, numbers), = fault.items()
        if kind == "Feed":
            name = LITTLE if numbers["ratio"] < 1 else MUCH
        else:
            name = {"Slipping": SLIPS, "AllShort": SHORT, "Swapped": SWAPPED, "Lag": LAG,
                    "Heights": HEIGHTS, "FlowLimit": LIMIT}[kind]
        found.append((name, numbers.get("drive") if kind in ("Feed", "Slipping") else None))
    return found


def right(bad, finding):
    """Every fault of the finding is one of the print's, and the other way round."""
    found = names_of(finding)
    return len(found) == len(bad.truth) and all(any(f in t for f in found) for t in bad.truth)


@dataclass
class Study:
    """One print, and what was made of it."""

    bad: Print
    findings: list
    none: float

    def first(self):
        return right(self.bad, self.findings[0])

    def among_two(self):
        return any(right(self.bad, f) for f in self.findings[:2])

    def in_part(self):
        """For two faults at once: the first guess is one of them."""
        found = names_of(self.findings[0])
        return bool(found) and all(any(f in t for t in self.bad.truth) for f in found)


def studied(tintfall, folder, of_each, seed, kinds=KINDS):
    rng = np.random.default_rng(seed)
    job, known = prepared(tintfall, folder)
    prints, paths = [], []
    for number in range(of_each):
        for kind in kinds:
            bad = made(kind, rng)
            path = folder / f"seen-{len(prints)}.csv"
            write(path, with_colours(simulated(bad, job, rng), known, rng))
            prints.append(bad)
            paths.append(path)
    half = (len(paths) + 1) // 2
    with ThreadPoolExecutor(2) as pool:
        found = [f for part in pool.map(lambda part: traced(tintfall, folder, part),
                                        [paths[:half], paths[half:]]) for f in part]
    return [Study(bad, f["findings"], f["none_of_these"]) for bad, f in zip(prints, found)]


def traced(tintfall, folder, paths):
    if not paths:
        return []
    done = subprocess.run([tintfall, "trace", folder / "tower.plan.ron", *paths, "--json"],
                          check=True, capture_output=True, text=True)
    found = json.loads(done.stdout)
    return found if isinstance(found, list) else [found]


def told(studies):
    """The table: by kind, how many are right at first and among the first two, and what is told
    instead; then odds against what came true."""
    lines = [f"{'planted':30} prints  first  of two  told instead"]
    for kind in KINDS:
        of_kind = [s for s in studies if s.bad.kind == kind]
        if not of_kind:
            continue
        wrong = [" + ".join(f"{n}{'' if d is None else d + 1}" for n, d in names_of(s.findings[0]))
                 or "nothing" for s in of_kind if not s.first()]
        lines.append(f"{kind:30} {len(of_kind):6} {sum(s.first() for s in of_kind):6}"
                     f" {sum(s.among_two() for s in of_kind):7}  {'; '.join(sorted(wrong))}")
    lines.append(f"{'all':30} {len(studies):6} {sum(s.first() for s in studies):6}"
                 f" {sum(s.among_two() for s in studies):7}")
    lines.append("\ntold       prints  right")
    for low, high in [(0, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 1.01)]:
        here = [s for s in studies if low <= s.findings[0]["chance"] < high]
        if here:
            mean = np.mean([s.findings[0]["chance"] for s in here])
            lines.append(f"{low:.2f}-{min(high, 1):.2f}  {len(here):6} {np.mean([s.first() for s in here]):6.2f}"
                         f"   (told {mean:.2f} in the mean)")
    return "\n".join(lines)


def checks(tools):
    from tools import Check
    folder = tools.folder / "bad-prints"
    folder.mkdir()
    studies = studied(tools.built / "tintfall", folder, 2, 7)
    count = len(studies)
    share = lambda right: 1 - sum(right) / count
    yield Check("bad prints whose first cause is wrong", "a simulator of its own, plain Python",
                share(s.first() for s in studies), 0.20, count)
    yield Check("the right cause is not among the first two", "the same",
                share(s.among_two() for s in studies), 0.15, count)


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("tintfall", type=Path)
    asked.add_argument("--prints", type=int, default=10, help="of each kind")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--kinds", nargs="*", default=KINDS)
    args = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        studies = studied(args.tintfall.resolve(), Path(folder), args.prints, args.seed, args.kinds)
    print(told(studies))
    parts = [s for s in studies if s.bad.kind == "two at once"]
    print(f"\nof two at once, the first guess is one of them: {sum(s.in_part() for s in parts)} of {len(parts)}")


if __name__ == "__main__":
    sys.exit(main())
