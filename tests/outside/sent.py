"""Doses that share layers, early and tiny ones too, followed through the hotend by a plain march.

Nothing of Tintfall is used but what it hands over: the order of what is laid (as-printed.ron) and
the commands (commands.csv). A list of thin slices of plastic is pushed through a pipe into a
stirred pot, slice by slice, with each spool's volume counted; what leaves the pot while a dose is
laid is that dose's blend. So a flush that is too small for what is really sent shows, whatever the
program says about it.

The pot is the stirred tank of O. Levenspiel, Chemical Reaction Engineering, 3rd edition, from
memory; how far a dose may be off is what the plan's machine allows.
"""

import re
import subprocess
from collections import deque
from dataclasses import dataclass

import numpy as np

from chamber import column, read
from tools import Check

DEAD, MIXED = 20.0, 30.0
ALLOWED_DE00 = 2.0
SLICE = 0.05
# A dose's mean share against the one asked for. Near a light strong spool ΔE00 2 is a share of 0.2;
# what a dose smeared or left out is off by is 0.3 to 0.5.
SHARE = 0.25

SPOOLS = """spools: [(name: "Deep blue", colour: Hex("#1d3f8f")), (name: "Warm white", colour: Hex("#f4efe4"))],"""
RIGHT = '(name: "Right", mask: Slab(direction: (1.0, 0.0, 0.0), from_mm: 0.0, to_mm: 100.0), paint: Fixed([0.0, 1.0])),'


@dataclass
class Part:
    """A block, what is painted on it, and how it is laid."""

    name: str
    size: tuple
    regions: str
    laying: str = ""


PARTS = [
    Part("spot", (24, 24, 10), RIGHT + """(name: "Spot", mask: Sphere(centre_mm: (6.0, -12.0, 5.0),
        radius_mm: 0.45), paint: Fixed([0.5, 0.5])),"""),
    Part("early", (24, 24, 5), """(name: "Heel", mask: Box(min_mm: (-12.0, -12.0, 0.0),
        max_mm: (-6.0, -6.0, 0.3)), paint: Fixed([0.0, 1.0])),""" + RIGHT),
    Part("corner", (16, 16, 5), """(name: "Corner", mask: Box(min_mm: (5.0, 5.0, 0.0),
        max_mm: (8.0, 8.0, 2.0)), paint: Fixed([0.3, 0.7])),"""),
    Part("bands", (20, 20, 40), """(name: "Two", mask: Any([Band(from_mm: 10.0, to_mm: 20.0),
        Band(from_mm: 30.0, to_mm: 40.0)]), paint: Fixed([0.0, 1.0])),""", "purge_jumps: true"),
]


def checks(tools):
    shares, reported, asked, worst_de00 = [], [], [], []
    for folder in prepared(tools):
        rows = read(folder / "schedule.csv")
        table = {(int(r["layer"]), int(r["order"])): r for r in rows}
        shared = layers_with_changes(rows)
        purged = folder.name == "bands-out"
        for place, share in marched(folder).items():
            row = table[place]
            if float(row["visible_area_mm2"]) <= 0.0:
                continue
            shares.append(abs(share - float(row["printed_share_1"])))
            # A dose that goes on with the blend of a layer of one blend may lie in the tail of a jump.
            below = table.get((place[0] - 1, 1))
            goes_on = place[1] == 1 and place[0] - 1 not in shared and below is not None \
                and below["share_1"] == row["share_1"]
            if (place[0] in shared and not goes_on) or purged:
                asked.append(abs(share - float(row["share_1"])))
                worst_de00.append(float(row["printed_de00"]))
            reported.append(place)
    yield Check("blend of each dose against the one told", "a march of slices, plain Python",
                max(shares, default=np.inf), 4e-3, len(shares))
    yield Check("doses in layers of several blends: share against the one asked for",
                "a march of slices, plain Python", max(asked, default=np.inf), SHARE, len(asked))
    yield Check("the same as colour, ΔE00", "what the machine file allows",
                max(worst_de00, default=np.inf), ALLOWED_DE00 + 0.15, len(worst_de00))


def prepared(tools):
    for part in PARTS:
        mesh = tools.folder / f"{part.name}.stl"
        write_block(mesh, part.size)
        plan = tools.folder / f"{part.name}.plan.ron"
        plan.write_text(f"""(version: 1, title: "{part.name}", mesh: (file: "{mesh.name}"), {SPOOLS}
            layers: (first_layer_mm: 0.3, layer_mm: 0.25), laying: ({part.laying}), regions: [
            (name: "Left", mask: Whole, paint: Fixed([1.0, 0.0])), {part.regions}])""", encoding="utf-8")
        out = tools.folder / f"{part.name}-out"
        subprocess.run([tools.built / "tintfall", "prepare", plan, "--out", out], check=True,
                       capture_output=True)
        yield out
    yield tools.demos() / "lighthouse"


def write_block(path, size):
    """A box on the bed, as plain STL."""
    x, y, z = size[0] / 2, size[1] / 2, size[2]
    corner = lambda i: (x if i & 1 else -x, y if i & 2 else -y, z if i & 4 else 0.0)
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    lines = ["solid block"]
    for a, b, c, d in faces:
        for triangle in ((a, b, c), (a, c, d)):
            lines.append("facet normal 0 0 0\nouter loop")
            lines += ["vertex %g %g %g" % corner(i) for i in triangle]
            lines.append("endloop\nendfacet")
    path.write_text("\n".join(lines + ["endsolid block"]), encoding="utf-8")


def layers_with_changes(rows):
    """Layers whose doses ask for several blends, from 1."""
    blends = {}
    for row in rows:
        blends.setdefault(int(row["layer"]), set()).add(row["share_1"])
    return {layer for layer, found in blends.items() if len(found) > 1}


STRETCH = re.compile(r"layer:\s*(\d+),\s*volume_mm3:\s*([0-9.eE+-]+),\s*purpose:\s*(Skin\(\s*dose:\s*(\d+)|\w+)")


def stretches(folder):
    text = (folder / "as-printed.ron").read_text(encoding="utf-8")
    text = text[:text.index("compensation")]
    for layer, volume, _, dose in STRETCH.findall(text):
        yield int(layer), float(volume), int(dose) if dose else None


def marched(folder):
    """For each dose (layer and order from 1) the first spool's share of what leaves the pot."""
    commands = read(folder / "commands.csv")
    places, feeds = column(commands, "extruded_mm3"), column(commands, "share_1")
    pipe = deque([(DEAD, feeds[0])])
    pot = feeds[0]
    at, next_command, found = 0.0, 1, {}
    for layer, volume, dose in stretches(folder):
        steps = max(1, round(volume / SLICE))
        step, left = volume / steps, 0.0
        for _ in range(steps):
            while next_command < len(places) and places[next_command] <= at + 0.5 * step:
                next_command += 1
            entering = push(pipe, step, feeds[next_command - 1])
            # The pot is stirred while the slice comes in: what leaves is its mean.
            faded = np.exp(-step / MIXED)
            leaving = entering + (pot - entering) * (1 - faded) * MIXED / step
            pot = entering + (pot - entering) * faded
            left += leaving * step
            at += step
        if dose is not None:
            found[layer + 1, dose + 1] = left / volume
    return found


def push(pipe, volume, share):
    """Pushes plastic into the pipe; returns the share of what comes out at its end."""
    pipe.append((volume, share))
    wanted, sum_of_share = volume, 0.0
    while wanted > 1e-12:
        first, its_share = pipe.popleft()
        taken = min(first, wanted)
        sum_of_share += taken * its_share
        wanted -= taken
        if first > taken:
            pipe.appendleft((first - taken, its_share))
    return sum_of_share / volume
