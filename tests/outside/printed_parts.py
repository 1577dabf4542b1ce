"""The demonstration's parts as a simulator of its own prints them, with planted faults.

It follows the order of the plan's delivery: the stretches of as-printed.ron (each region's skin, what
is laid inside, what is flushed away) and the commands of commands.csv. Drives feed too little over some
height, spools are exchanged, or changes come at wrong heights; the plastic goes through a pipe into a
stirred pot. What leaves it while a region of a layer is laid is that region's plastic there.

Spectra are those that colour-science recovers (Jakob and Hanika, Computer Graphics Forum 38, 2019;
from memory) from the colours that Tintfall states for blends of the plan's spools.
"""

import csv
import re
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import trimesh
from PIL import Image, ImageDraw
from scipy.interpolate import LinearNDInterpolator

import demo_photograph
import plastics
from bad_prints import HEIGHTS, LITTLE, MUCH, SWAPPED

DEAD, MIXED = 20.0, 30.0
# Plastic is followed in portions of so many mm³.
PORTION = 2.0
NOTHING, UNTIL, ABOVE, WHILE, ALL, SWAP, OFF = (
    "nothing", "too little until a height", "too little from a height on", "too little for a while",
    "too little throughout", "swapped", "wrong heights")
TALL = [NOTHING, UNTIL, ABOVE, WHILE, SWAP, OFF]
# What is a few mm high has no heights to tell apart.
FLAT = [NOTHING, SWAP]
# A fault that changes the largest regions' colours by less, at its tenth of the heights that changes
# most, is none that a colour could tell, ΔE00.
SHOWS = 4.0


@dataclass
class Fault:
    """What went wrong with a print; findings that are right for it, or none for a sound one."""

    kind: str
    right: list
    feed: list
    swapped: tuple = ()
    height: object = lambda z: z


def fault(kind, draw, top, drives=2):
    drive = int(draw.integers(drives))
    few = draw.uniform(0.4, 0.75)
    low, high = draw.uniform(0.3, 0.45) * top, draw.uniform(0.6, 0.75) * top
    spell = {UNTIL: lambda z: few if z < high else 1.0, ABOVE: lambda z: few if z >= low else 1.0,
             WHILE: lambda z: few if low <= z < high else 1.0, ALL: lambda z: few}
    sound = [lambda z: 1.0] * drives
    # Colours alone can't tell one drive's too little from the others' too much.
    little = [(LITTLE, drive)] + [(MUCH, other) for other in range(drives) if other != drive]
    if kind in spell:
        return Fault(kind, little, [spell[kind] if i == drive else one for i, one in enumerate(sound)])
    if kind == SWAP:
        pair = (0, 1) if drives == 2 else tuple(int(i) for i in draw.choice(drives, 2, replace=False))
        return Fault(kind, [(SWAPPED, None)], sound, swapped=pair)
    if kind == OFF:
        off = draw.choice([-1, 1]) * draw.uniform(8, 15)
        return Fault(kind, [(HEIGHTS, None)], sound, height=lambda z: z - off)
    return Fault(kind, [], sound)


class Hotend:
    """A pipe and a stirred pot."""

    def __init__(self, first):
        self.pipe, self.head, self.pot = [(DEAD, first)], 0, first

    def lay(self, entering):
        """What leaves the pot as so much of each spool enters."""
        amount = entering.sum()
        if amount <= 0:
            return 0.0, self.pot
        self.pipe.append((amount, entering / amount))
        wanted, of_it = amount, 0.0
        while wanted > 1e-12:
            held, its = self.pipe[self.head]
            take = min(held, wanted)
            of_it = of_it + take * its
            wanted -= take
            self.pipe[self.head] = (held - take, its)
            self.head += held <= take
        # The mean of what leaves it, and what it then holds, if the pipe's end is even meanwhile.
        entered, stays = of_it / amount, np.exp(-amount / MIXED)
        left = entered + (self.pot - entered) * (1 - stays) * MIXED / amount
        self.pot = entered + (self.pot - entered) * stays
        return amount, left


def exchanged(blend, pair):
    blend = blend.copy()
    if pair:
        blend[list(pair)] = blend[list(pair)[::-1]]
    return blend


def printed(bad, part):
    """The blend of each dose of each layer, as it comes out of the nozzle: {(layer, dose): blend}."""
    volumes = np.zeros(len(part.tops))
    for layer, volume, _ in part.stretches:
        volumes[layer] += volume
    edges = np.concatenate([[0.0], np.cumsum(volumes)])
    heights = np.concatenate([[0.0], part.tops])
    hotend = Hotend(exchanged(part.shares[0], bad.swapped))
    out, at = {}, 0.0
    for layer, volume, dose in part.stretches:
        z = (heights[layer] + heights[layer + 1]) / 2
        shift = np.interp(bad.height(z), heights, edges) - (edges[layer] + edges[layer + 1]) / 2
        feed = np.array([of(z) for of in bad.feed])
        count = max(1, round(volume / PORTION))
        laid, of_spools = 0.0, 0.0
        for i in range(count):
            told = at + (i + 0.5) * volume / count + shift
            share = part.shares[max(np.searchsorted(part.places, told, side="right") - 1, 0)]
            amount, blend = hotend.lay(exchanged(share * feed, bad.swapped) * volume / count)
            laid, of_spools = laid + amount, of_spools + amount * blend
        if dose is not None:
            out[layer, dose] = of_spools / laid if laid > 0 else hotend.pot
        at += volume
    return out


def stretches(text):
    """The stretches of as-printed.ron: layer, volume, and the dose that is seen of it, or none."""
    begin = text.index("stretches")
    found = re.finditer(r"layer:\s*(\d+),\s*volume_mm3:\s*([-\d.eE]+),\s*purpose:\s*(?:Skin\(\s*dose:\s*(\d+)|(\w+))",
                        text[begin:text.index("compensation", begin)])
    return [(int(m[1]), float(m[2]), None if m[3] is None else int(m[3])) for m in found]


def in_stroke(points, dabs, radius):
    """Within a radius of a line of dabs."""
    near = np.zeros(len(points), bool)
    for a, b in zip(dabs, dabs[1:]):
        a, b = np.array(a, float), np.array(b, float)
        along = ((points - a) @ (b - a) / ((b - a) @ (b - a))).clip(0, 1)
        near |= np.linalg.norm(points - a - along[:, None] * (b - a), axis=1) <= radius
    return near


def lighthouse(points):
    """Which region of its plan is where."""
    z = points[:, 2]
    region = np.zeros(len(points), int)
    for number, (low, high) in enumerate([(0, 24), (36, 48), (60, 72), (88, 100), (100, 113)], 1):
        region[(z >= low) & (z < high)] = number
    region[in_stroke(points, [(0, -13.5, 26.6), (0, -13.3, 30), (0, -13.1, 32.4)], 2.4)] = 6
    for y, low in [(-11.6, 52.6), (-9.9, 76), (11.6, 52.6), (9.9, 76)]:
        upper = (0, y - np.sign(y) * 0.1, low + 2)
        region[in_stroke(points, [(0, y, low), upper], 1.5)] = 7
    return region


def nameplate(points):
    x, y, z = np.abs(points).T
    return ((z >= 2.01) & (x <= 48) & (y <= 11)).astype(int)


def one(points):
    return np.zeros(len(points), int)


class Letters:
    """The key tag's letters, on its top: where its coloured PLY has them (exchange.py checks that)."""

    PX, HALF_MM = 24, 25.0

    def __init__(self, program, plan, folder):
        subprocess.run([program, "handoff", plan, "--out", folder], check=True, capture_output=True)
        mesh = trimesh.load(folder / "part.ply", process=False)
        red = mesh.visual.vertex_colors[:, 2] < 128
        inked = Image.new("1", (round(2 * self.HALF_MM * self.PX),) * 2)
        pen = ImageDraw.Draw(inked)
        top = mesh.vertices[:, 2] > mesh.bounds[1, 2] - 1e-6
        for face in mesh.faces[(red & top)[mesh.faces].all(axis=1)]:
            pen.polygon([tuple((v + self.HALF_MM) * self.PX) for v in mesh.vertices[face, :2]], fill=1)
        self.inked, self.low = np.array(inked), mesh.bounds[1, 2] - 0.5

    def __call__(self, points):
        column, row = ((points[:, :2] + self.HALF_MM) * self.PX).astype(int).T
        return (self.inked[row, column] & (points[:, 2] > self.low)).astype(int)


class Part:
    """A demonstration part: its shape, its delivery, its regions, and the spectra of its plastics."""

    REGIONS = {"lamp-shade": one, "lighthouse": lighthouse, "nameplate": nameplate}

    def __init__(self, program, demo, name, scratch):
        self.name, self.plan = name, demo / f"{name}.plan.ron"
        self.region_at = self.REGIONS.get(name) or Letters(program, self.plan, scratch / f"{name}-handoff")
        self.mesh = trimesh.load(demo / f"{name}.stl")
        rows = table(demo / name / "schedule.csv")
        tops = {int(row["layer"]): float(row["top_mm"]) for row in rows}
        self.tops = np.array([tops[layer] for layer in sorted(tops)])
        self.stretches = stretches((demo / name / "as-printed.ron").read_text(encoding="utf-8"))
        commands = table(demo / name / "commands.csv")
        self.places = np.array([float(row["extruded_mm3"]) for row in commands])
        self.drives = sum(column.startswith("share_") for column in commands[0])
        self.shares = np.array([[float(row[f"share_{i + 1}"]) for i in range(self.drives)] for row in commands])
        names = {int(row["region"]): row["region_name"] for row in rows}
        self.names = [names.get(number, "") for number in range(1, max(names) + 1)]
        # Which dose a region has in a layer; the one of the most skin is the layer's largest.
        self.dose_of, self.main = {}, {}
        for row in rows:
            layer, region = int(row["layer"]) - 1, int(row["region"]) - 1
            key, area = (layer, int(row["order"]) - 1), float(row["visible_area_mm2"])
            # A region may have several steps of a fade in a layer: the largest speaks for it.
            if area > self.dose_of.get((layer, region), (None, -1.0))[1]:
                self.dose_of[layer, region] = (key, area)
            if area > self.main.get(layer, (None, -1.0))[1]:
                self.main[layer] = (key, area)
        self.palette = Palette(program, self.plan.read_text(encoding="utf-8"), self.drives, scratch / f"{name}-blends")

    def layers(self, heights):
        """The layers of heights; a level face is the top of what lies beneath it."""
        return np.searchsorted(self.tops, np.asarray(heights) - 1e-3).clip(0, len(self.tops) - 1)

    def doses(self, points):
        """Layer and region of the plastic at points of the skin."""
        return self.layers(points[:, 2]), self.region_at(points - [0, 0, 1e-3])

    def spectra(self, blends):
        """Reflectances by layer and region; where a layer has no dose of a region, its largest."""
        keys = sorted(blends)
        shown = self.palette.spectra(np.array([blends[key] for key in keys]))
        by_key = dict(zip(keys, shown))
        regions = 1 + max(region for _, region in self.dose_of)
        out = np.zeros((len(self.tops), regions, len(plastics.NM)))
        for layer in range(len(self.tops)):
            main = by_key.get(self.main.get(layer, (None,))[0])
            for region in range(regions):
                key = self.dose_of.get((layer, region), (None,))[0]
                out[layer, region] = by_key.get(key, main if main is not None else shown[0])
        return out

    def main_blends(self, blends):
        return np.array([blends[key] for key, _ in (self.main[i] for i in sorted(self.main)) if key in blends])

    def shows(self, bad):
        """Whether a fault changes the largest regions' colours, so that a colour could tell."""
        sound = self.main_blends(printed(Fault(NOTHING, [], [lambda z: 1.0] * self.drives), self))
        here = self.main_blends(printed(bad, self))
        few = np.linspace(0, len(sound) - 1, min(len(sound), 120)).astype(int)
        labs = [plastics.lab(self.palette.spectra(one[few])) for one in (sound, here)]
        return np.quantile(plastics.difference(*labs), 0.9) >= SHOWS

    def fault(self, kind, draw):
        """A fault of a kind that shows."""
        for _ in range(40):
            bad = fault(kind, draw, self.tops[-1], self.drives)
            if not bad.right or self.shows(bad):
                return bad
        raise ValueError(f"no fault of the kind '{kind}' shows on the {self.name}")


class Palette:
    """Spectra of blends: recovered for a grid of them, even between."""

    def __init__(self, program, plan, drives, folder):
        spools = re.search(r"spools: \[.*?\n    \]", plan, re.S)[0]
        codes = re.findall(r'Hex\("#(\w\w)(\w\w)(\w\w)"\)', spools)
        # A little of a strong spool changes a pale one most.
        self.pale = int(np.argmax([sum(int(v, 16) for v in code) for code in codes]))
        self.others = [i for i in range(drives) if i != self.pale]
        steps = 20 if drives == 2 else 10
        grid = [(i, j) for i in range(steps + 1) for j in range(steps + 1 - i if drives > 2 else 1)]
        # The pale one's place, and how the rest is shared.
        places = np.array([[i / steps, j / max(steps - i, 1)] for i, j in grid])
        blends = self.blends(places, drives)
        labs = stated(program, spools, blends, folder)
        self.drives = drives
        known = np.array([demo_photograph.recovered(lab) for lab in labs])
        if drives == 2:
            order = np.argsort(places[:, 0])
            self.line = places[order, 0], known[order]
            return
        # A corner of the grid, where nothing is left to share, is a side of the square.
        pure = np.array([[1.0, v] for v in np.linspace(0, 1, steps + 1)])
        places = np.vstack([places[places[:, 0] < 1], pure])
        whole = known[[i for i, place in enumerate(grid) if place[0] == steps][0]]
        known = np.vstack([known[[i for i, place in enumerate(grid) if place[0] < steps]], [whole] * len(pure)])
        self.net = LinearNDInterpolator(places, known)

    def blends(self, places, drives):
        blends = np.zeros((len(places), drives))
        blends[:, self.pale] = 1 - (1 - places[:, 0]) ** 3
        rest = 1 - blends[:, self.pale]
        blends[:, self.others[0]] = rest * (1 - places[:, 1])
        if drives > 2:
            blends[:, self.others[1]] = rest * places[:, 1]
        return blends

    def spectra(self, blends):
        place = 1 - np.cbrt((1 - blends[:, self.pale]).clip(0, 1))
        if self.drives == 2:
            at, known = self.line
            return np.array([np.interp(place, at, known[:, k]) for k in range(known.shape[1])]).T
        rest = blends[:, self.others].sum(axis=1)
        part = np.divide(blends[:, self.others[1]], rest, out=np.zeros_like(rest), where=rest > 1e-9)
        return self.net(np.column_stack([place, part]).clip(0, 1))


def stated(program, spools, blends, folder):
    """The colours that Tintfall states for blends: those of the layers of a block."""
    folder.mkdir(exist_ok=True)
    block = trimesh.creation.box((12, 12, len(blends)))
    block.apply_translation((0, 0, len(blends) / 2))
    block.export(folder / "block.stl")
    paint = lambda blend: "Fixed([" + ", ".join(f"{v:.9f}" for v in blend) + "])"
    bands = [f'(name: "{i}", mask: Band(from_mm: {i}, to_mm: {i + 1}), paint: {paint(blend)}),'
             for i, blend in enumerate(blends) if i]
    (folder / "block.plan.ron").write_text(
        '(version: 1, mesh: (file: "block.stl", place: (stand: AsDrawn)), ' + spools + ", "
        "layers: (first_layer_mm: 1.0, layer_mm: 1.0),\n"
        'regions: [(name: "0", mask: Whole, paint: ' + paint(blends[0]) + "),\n" + "\n".join(bands) + "])",
        encoding="utf-8")
    done = subprocess.run([program, "prepare", folder / "block.plan.ron", "--out", folder / "out"],
                          capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(done.stderr)
    rows = table(folder / "out" / "schedule.csv")
    labs = np.array([[float(row[f"lab_{c}"]) for c in "lab"] for row in rows])
    if len(labs) != len(blends):
        raise RuntimeError(f"{len(labs)} doses for {len(blends)} blends")
    return labs


def table(path):
    lines = Path(path).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
