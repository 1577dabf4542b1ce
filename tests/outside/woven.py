"""Toolpaths of many habits: woven, replayed and judged by another way.

habits.py lays the same part in each habit. The woven file is read by gcodeparser and toolpath.py's
machine; order.py's laws and melt chamber are held against it; skin and inside are trimesh's and
shapely's, ΔE00 is colour-science's. Files that are spoilt on purpose must be refused by verify, and
toolpaths that are not the part must be told for what they are.
"""

import math
import re
import subprocess

import colour
import numpy as np
import trimesh
from scipy.spatial import cKDTree
from shapely import contains_xy

import habits
from order import bits_of, declared, in_the_air, laws, longest_dry, told
from toolpath import TOLERANCE_MM, read, woven
from tools import Check

SOURCE = "gcodeparser, trimesh, SciPy, shapely, colour-science"
DEAD, MIXED = 4.0, 6.0
NOZZLE_MM = 0.4
SPOOLS = ["#efe9dc", "#1b2a4a"]
PLAN = """(
    version: 1,
    title: "Block with a peg",
    mesh: (file: "part.stl"),
    spools: [(name: "Pale", colour: Hex("#efe9dc")), (name: "Navy", colour: Hex("#1b2a4a"))],
    machine: (nozzle_mm: 0.4, chamber: (dead_mm3: 4.0, mixed_mm3: 6.0)),
    layers: (first_layer_mm: 0.2, layer_mm: 0.2),
    filling: (walls: 2, bottom_layers: 3, top_layers: 3, infill: 0.15),
    regions: [
        (name: "Body", mask: Whole, paint: Fixed([1, 0])),
        (name: "Badge", mask: Box(min_mm: (-9, -9, 2), max_mm: (0, -7, 7)), paint: Fixed([0.1, 0.9])),
        (name: "Peg", mask: Band(from_mm: 9.5, to_mm: 14), paint: Fixed([0.5, 0.5])),
    ],
)
"""


def asked(point):
    """The plan's blend at a point of the skin."""
    x, y, z = point
    if 9.5 <= z <= 14:
        return (0.5, 0.5)
    if -9 <= x <= 0 and -9 <= y <= -7 and 2 <= z <= 7:
        return (0.1, 0.9)
    return (1.0, 0.0)


class Part:
    """The part, to be asked for its skin."""

    def __init__(self, mesh):
        self.mesh = mesh
        self.points, _ = trimesh.sample.sample_surface(mesh, 500_000, seed=7)
        self.tree = cKDTree(self.points)
        self.sections = {}

    def inside(self, places):
        """Which places lie in the part, or a hair beyond."""
        found = np.zeros(len(places), bool)
        heights = np.round(places[:, 2], 2)
        for height in np.unique(heights):
            if not 0 < height < self.mesh.bounds[1][2]:
                continue
            if height not in self.sections:
                self.sections[height] = habits.sections(self.mesh, [height])[0].buffer(0.1)
            at = heights == height
            found[at] = contains_xy(self.sections[height], places[at, 0], places[at, 1])
        return found


def mean_de00(tools, part, moves, habit, block, top):
    """Mean ΔE00 at the skin of all copies, by volume."""
    bits = bits_of(moves, block, top, DEAD, MIXED)
    plate = np.array([b[0] for b in bits])
    volumes = np.array([b[1] for b in bits])
    laid, wanted, weights = [], [], []
    for turn, shift in zip(habit.turn_deg, habit.shift_mm):
        angle = math.radians(turn)
        away = plate - [*shift, habit.raft_mm]
        places = np.column_stack([
            away[:, 0] * math.cos(angle) + away[:, 1] * math.sin(angle),
            away[:, 1] * math.cos(angle) - away[:, 0] * math.sin(angle),
            away[:, 2],
        ])
        gaps, near = part.tree.query(places, distance_upper_bound=NOZZLE_MM)
        seen = np.flatnonzero((gaps <= NOZZLE_MM) & part.inside(places))
        for i in seen:
            skin = part.points[near[i]]
            if skin[2] > 0.01:
                # A dark spool shows in white from a few ten-thousandths on.
                laid.append(tuple(np.round(bits[i][2], 5)))
                wanted.append(asked(skin))
                weights.append(volumes[i])
    labs = mixed(tools, laid + wanted)
    de00 = colour.delta_E(labs[: len(laid)], labs[len(laid):], method="CIE 2000")
    return float(np.average(de00, weights=weights))


def mixed(tools, shares):
    kinds = sorted(set(shares))
    questions = [{"mix": {"spools": SPOOLS, "shares": [s / sum(kind) for s in kind]}} for kind in kinds]
    labs = {kind: answer["lab"] for kind, answer in zip(kinds, tools.colours(questions))}
    return np.array([labs[s] for s in shares])


def others(path):
    """The lines that are neither moves nor blends nor what goes with plastic."""
    found = []
    for line in open(path, encoding="utf-8"):
        text = re.sub(r"^N\d+ |\*\d+\s*$|;.*", "", line.strip()).strip()
        if text and not re.match(r"((G0|G1|G2|G3|G10|G11|M163|M164|M106|M107)\b|T\d|G92 E)", text):
            found.append(text)
    return found


class Bench:
    """Weaves and verifies files of one folder."""

    def __init__(self, tools):
        self.tools = tools
        self.folder = tools.folder / "habits"
        self.folder.mkdir(exist_ok=True)
        self.part = Part(habits.part())
        self.part.mesh.export(self.folder / "part.stl")
        self.plan = self.folder / "part.plan.ron"
        self.plan.write_text(PLAN, encoding="utf-8")

    def write(self, name, text):
        path = self.folder / (re.sub(r"\W+", "-", name) + ".gcode")
        with open(path, "w", encoding="utf-8", newline="") as file:
            file.write(text)
        return path

    def weave(self, sliced, *words):
        out = sliced.with_suffix(".woven.gcode")
        out.unlink(missing_ok=True)
        command = [self.tools.built / "tintfall", "weave", self.plan, sliced, "--out", out, *words]
        return out, subprocess.run(command, capture_output=True, text=True)

    def verify(self, out, sliced):
        command = [self.tools.built / "tintfall", "verify", self.plan, out, "--before", sliced]
        return subprocess.run(command, capture_output=True, text=True)


def judged(bench, habit, results):
    """Weaves one habit, and adds what was found to the results."""
    sliced = bench.write(habit.name, habits.lay(bench.part.mesh, habit))
    out, done = bench.weave(sliced)
    checked = bench.verify(out, sliced) if done.returncode == 0 else done
    results["refused"].append(float(checked.returncode != 0))
    if checked.returncode != 0:
        print(f"    {habit.name}: {checked.stderr.strip()}")
        return
    block, top = declared(out)
    before, after = told(sliced, 2), told(out, 2)
    if "Order: runs changed places" in out.read_text(encoding="utf-8"):
        filament, astray, _ = laws(before, after, block, top)
        results["filament"].append(filament)
        results["astray"].append(astray)
        # Without retraction there is no length from which on it is.
        if habit.hold != "none":
            results["dry"].append(max(longest_dry(after) - max(longest_dry(before), 0.5), 0.0))
        results["air"].append(float(in_the_air(after, block, top)))
    else:
        results["same"].append(woven(read(sliced), out)[0])
    results["others"].append(float(others(sliced) != others(out)))
    mean = mean_de00(bench.tools, bench.part, after, habit, block, top)
    theirs = float(re.search(r"mean ΔE00 ([0-9.]+)", checked.stdout).group(1))
    results["mean"].append(abs(mean - theirs))


def spoilt(text):
    """Ways to spoil a woven file."""
    lines = text.splitlines()
    middle = len(lines) // 2
    at = lambda starts, begin=0: next(i for i in range(begin, len(lines)) if re.match(starts, lines[i]))
    plastic = at(r"G1 X\S+ Y\S+ E[0-9.]+$", middle)

    def changed(index, *new):
        return "\n".join([*lines[:index], *new, *lines[index + 1:]]) + "\n"

    choices = [i for i, line in enumerate(lines) if re.match(r"T\d", line)]
    layers = [i for i, line in enumerate(lines) if line.startswith("; layer ")]
    a, b, c = layers[30], layers[31], layers[32]
    copy = at("; Copy 1")
    share = at("M163")
    moved = re.sub(r"E(\S+)", lambda m: f"E{float(m[1]) + 2e-5:.5f}", lines[plastic])
    yield "shares that add up to 1.33", changed(share, re.sub(r"P\S+", "P1.33", lines[share]))
    yield "shares that add up to 2.5", changed(share, re.sub(r"P\S+", "P2.5", lines[share]))
    yield "another feed rate", changed(plastic, lines[plastic] + " F999")
    yield "a retraction pair", changed(plastic, "G1 E-1 F1800", "G1 E1", lines[plastic])
    yield "a choice of blend gone", changed(choices[len(choices) // 2])
    yield "more plastic", changed(plastic, moved)
    yield "plastic beside", changed(plastic, "G1 X150 Y150", "G1 X151 Y150 E0.05", lines[plastic])
    yield "a move gone", changed(plastic)
    yield "a temperature", changed(plastic, "M104 S250", lines[plastic])
    yield "the fan left on", "\n".join(line for line in lines if line != "M107") + "\n"
    yield "a layer gone", "\n".join(lines[:a] + lines[b:]) + "\n"
    yield "two layers changed places", "\n".join(lines[:a] + lines[b:c] + lines[a:b] + lines[c:]) + "\n"
    yield "the end gone", "\n".join(lines[:-1]) + "\n"
    yield "cut off", "\n".join(lines[: 3 * len(lines) // 4]) + "\n"
    yield "another turn in the head", changed(copy, lines[copy].replace("turned 0.000", "turned 90.000"))
    yield "another shift in the head", changed(copy, lines[copy].replace("x 110.000", "x 110.500"))
    yield "a flow factor", changed(plastic, "M221 S90", lines[plastic])


def checks(tools):
    bench = Bench(tools)
    results = {name: [] for name in ("refused", "filament", "astray", "dry", "air", "same", "others", "mean")}
    for habit in habits.ALL:
        judged(bench, habit, results)
    say = {
        "refused": ("toolpaths of all habits woven and verified: refused", 0.0),
        "filament": ("filament of each layer, without the purge block, mm", 2e-4),
        "astray": ("each piece lies on the line that it was cut from, mm", 2e-3),
        "dry": ("ways gone without drawing back, beyond the sliced file's, mm", 0.01),
        "air": ("layers of the purge block in the air", 0.0),
        "same": ("place and filament of what keeps its order", TOLERANCE_MM),
        "others": ("files whose other lines are not all there in order", 0.0),
        "mean": ("mean ΔE00 at the skin, against verify", 0.3),
    }
    for name, (what, allowed) in say.items():
        yield Check(what, SOURCE, max(results[name], default=math.inf), allowed, len(results[name]))
    missed = []
    sliced = bench.write("plain", habits.lay(bench.part.mesh, habits.ALL[0]))
    for words in ((), ("--purge", "stay")):
        out, _ = bench.weave(sliced, *words)
        for what, text in spoilt(out.read_text(encoding="utf-8")):
            code = bench.verify(bench.write("spoilt", text), sliced).returncode
            missed.append(float(code != 2))
            if code != 2:
                print(f"    {what} {words}: code {code}")
    yield Check("woven files spoilt on purpose that verify lets pass", "by construction", sum(missed), 0.0, len(missed))
    untold = []
    for habit, word in habits.WRONG:
        _, done = bench.weave(bench.write(habit.name, habits.lay(bench.part.mesh, habit)))
        untold.append(float(word not in done.stderr))
        if word not in done.stderr:
            print(f"    {habit.name}: {done.stderr.strip()}")
    yield Check("toolpaths that are not the part and are not told so", "by construction", sum(untold), 0.0, len(untold))
