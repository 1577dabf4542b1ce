"""Toolpaths whose runs changed places: the same print by laws of its own, and its colours by another way.

Words are read by gcodeparser (MIT); arcs, modes and filament by toolpath.py's machine. The melt
chamber is stepped along here: plug flow, then one stirred tank in closed form (O. Levenspiel,
Chemical Reaction Engineering, from memory). The skin is sampled by trimesh and looked up by SciPy's
k-d tree, ΔE00 is colour-science's. Only the blends' colours are asked of Tintfall, whose mixing has
its own check.
"""

import math
import re
import subprocess
from collections import defaultdict, deque

import colour
import numpy as np
import trimesh
from gcodeparser import parse_gcode_lines
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point, box

from tools import Check
from toolpath import Machine, lines_of

SOURCE = "gcodeparser, trimesh, SciPy, shapely, colour-science"
AREA = math.pi * 1.75**2 / 4
DEAD, MIXED = 20.0, 30.0
SKIN_MM = 0.4
BED_FACE_MM = 0.01
SPOOLS = {
    "nameplate": ["#efe9dc", "#1b2a4a"],
    "lighthouse": ["#f4f2ec", "#b3202a", "#2e3338"],
}


class Teller(Machine):
    """The machine, and which blend each move is fed; settings and what else is said."""

    def __init__(self, spools):
        super().__init__()
        self.held = False
        self.spools = spools
        self.set, self.slots, self.fed = {}, {}, None
        self.feed = 0.0
        self.out, self.most = 0.0, 0.0
        self.told = []

    def run(self, line):
        letter, code = line.command
        params = {k.upper(): v for k, v in line.params.items()}
        if (letter, code) == ("M", 163):
            self.set[int(params["S"])] = float(params["P"])
            return
        if (letter, code) == ("M", 164):
            self.slots[int(params["S"])] = tuple(self.set.get(i, 0.0) for i in range(self.spools))
            return
        if letter == "T":
            # A tool that was chosen before any blend is none.
            self.fed = self.slots.get(code, self.fed)
            return
        if letter == "G" and code in (10, 11):
            self.held = code == 10
            return
        if "F" in params:
            self.feed = float(params["F"])
        start, count = self.place(), len(self.moves)
        super().run(line)
        for move in self.moves[count:]:
            self.out += move["e"]
            fresh = max(self.out - self.most, 0.0)
            self.most = max(self.most, self.out)
            move.update(start=start, feed=self.feed, blend=self.fed, fresh=fresh, code=code,
                        back=self.held or self.most - self.out > 1e-4)


def told(path, spools):
    teller = Teller(spools)
    for line in parse_gcode_lines(lines_of(path)):
        teller.run(line)
    return teller.moves


def prints(moves):
    return [m for m in moves if m["e"] > 0 and m["start"][:2] != m["to"][:2]]


def chain(move):
    """A move as a chain of points, arcs through their middle."""
    middle = move.get("middle")
    return [move["start"][:2], *([middle[:2]] if middle else []), move["to"][:2]]


def declared(path):
    with open(path, encoding="utf-8") as file:
        for line, _ in zip(file, range(400)):
            found = re.match(r"; Purge block: x (\S+) (\S+) y (\S+) (\S+) up to (\S+) mm", line)
            if found:
                x0, x1, y0, y1, top = map(float, found.groups())
                return box(x0 - 0.002, y0 - 0.002, x1 + 0.002, y1 + 0.002), top
    return None, 0.0


def by_height(moves):
    layers = defaultdict(list)
    for move in moves:
        layers[round(max(move["start"][2], move["to"][2]), 4)].append(move)
    return layers


def laws(before, after, block, top):
    """Worst deviations: filament of a layer, place of a piece off its line, in the block's stead."""
    old, new = by_height(prints(before)), by_height(prints(after))
    filament, astray, count = 0.0, 0.0, 0
    if set(old) != set(new):
        return math.inf, math.inf, 0
    for height, wanted in old.items():
        part = [m for m in new[height] if not in_block(m, block, top)]
        filament = max(filament, abs(sum(m["e"] for m in part) - sum(m["e"] for m in wanted)))
        ends = cKDTree([m["start"][:2] for m in wanted] + [m["to"][:2] for m in wanted])
        for move in part:
            count += 1
            gaps, near = ends.query([move["start"][:2], move["to"][:2]])
            if max(gaps) < 1e-6:
                continue
            # A piece: it lies on the line that it was cut from.
            astray = max(astray, min(off(move, other) for other in wanted))
    return filament, astray, count


def off(piece, whole):
    if piece["code"] != whole["code"] or abs(piece["feed"] - whole["feed"]) > 1e-3:
        return math.inf
    if whole.get("middle"):
        centre, radius = circle(*(complex(*p) for p in chain(whole)))
        return max(abs(abs(complex(*p) - centre) - radius) for p in chain(piece))
    line = LineString(chain(whole))
    return max(line.distance(Point(p)) for p in chain(piece))


def circle(a, b, c):
    """Through three points, by complex numbers."""
    u, v = b - a, c - a
    w = v / u
    if abs(w.imag) < 1e-12:
        return 0j, math.inf
    centre = a + u * (w - abs(w) ** 2) / (2j * w.imag)
    return centre, abs(a - centre)


def in_block(move, block, top):
    if block is None or move.get("middle") or move["to"][2] > top + 1e-3:
        return False
    return all(block.contains(Point(p)) for p in chain(move))


def longest_dry(moves):
    """The longest way between plastic that is gone with the strand out, mm."""
    worst, way, begun = 0.0, 0.0, False
    for move in moves:
        if move["e"] > 0 and move["start"][:2] != move["to"][:2]:
            worst, way, begun = max(worst, way if begun else 0.0), 0.0, True
        elif move["e"] == 0 and not move["back"]:
            way += math.dist(move["start"][:2], move["to"][:2])
    return worst


def in_the_air(moves, block, top):
    """Layers of the block over a height without it."""
    # A line to prime the nozzle is no layer.
    layers = {h: l for h, l in by_height(prints(moves)).items() if len(l) > 2}
    has = [any(in_block(m, block, top) for m in layers[h]) for h in sorted(layers)]
    return sum(1 for below, here in zip(has, has[1:]) if here and not below)


class Chamber:
    def __init__(self, held, dead=DEAD, mixed=MIXED):
        self.plugs = deque([[dead, held]])
        self.tank = list(held)
        self.mixed = mixed

    def lay(self, fed, volume):
        self.plugs.append([volume, fed])
        left = [0.0] * len(self.tank)
        rest = volume
        while rest > 1e-12:
            plug = self.plugs[0]
            taken = min(rest, plug[0])
            part = taken / self.mixed
            stays = math.exp(-part)
            away = (1 - stays) / part
            for i, enters in enumerate(plug[1]):
                held = self.tank[i] - enters
                left[i] += (enters + held * away) * taken
                self.tank[i] = enters + held * stays
            plug[0] -= taken
            rest -= taken
            if plug[0] <= 1e-12:
                self.plugs.popleft()
        return [share / volume for share in left]


def bits_of(moves, block, top, dead=DEAD, mixed=MIXED):
    """Places of half a millimetre of plastic each, on the plate, with volume and blend."""
    heights = sorted(by_height(prints(moves)))
    below = dict(zip(heights, [0.0, *heights]))
    chamber, bits = None, []
    for move in moves:
        volume = move["fresh"] * AREA
        if volume <= 0 or move["blend"] is None:
            continue
        chamber = chamber or Chamber(move["blend"], dead, mixed)
        flat = math.dist(move["start"][:2], move["to"][:2])
        count = max(1, math.ceil(flat / 0.5))
        high = round(max(move["start"][2], move["to"][2]), 4)
        layer = high - below.get(high, high - 0.2)
        layer = layer if 0.05 < layer < 0.8 else 0.2
        for i in range(count):
            laid = chamber.lay(move["blend"], volume / count)
            if flat > 0 and not in_block(move, block, top):
                bits.append(([*along(move, (i + 0.5) / count), high - 0.5 * layer], volume / count, laid))
    return bits


def mean_de00(tools, name, moves, block, top, mesh=None):
    """Mean ΔE00 at the skin, by volume."""
    mesh = mesh or trimesh.load(tools.demos() / f"{name}.stl", process=True)
    points, _ = trimesh.sample.sample_surface(mesh, 1_500_000, seed=7)
    tree = cKDTree(points)
    bits = bits_of(moves, block, top)
    places = np.array([b[0] for b in bits]) - [110.0, 110.0, 0.0]
    gaps, near = tree.query(places)
    # The face that stood on the bed is not seen.
    seen = np.flatnonzero((gaps <= SKIN_MM) & (points[near][:, 2] > BED_FACE_MM))
    # A white is a white only with less than a thousandth of a dark blend in it.
    laid = np.round([bits[i][2] for i in seen], 5)
    volumes = np.array([bits[i][1] for i in seen])
    asked = [ASKED[name](points[near[i]], places[i]) for i in seen]
    labs = mixed(tools, name, [tuple(s) for s in laid] + asked)
    de00 = colour.delta_E(labs[: len(seen)], labs[len(seen):], method="CIE 2000")
    return float(np.average(de00, weights=volumes))


def along(move, t):
    middle = move.get("middle")
    a, b = complex(*move["start"][:2]), complex(*move["to"][:2])
    if not middle:
        return [(a + (b - a) * t).real, (a + (b - a) * t).imag]
    m = complex(*middle[:2])
    centre, radius = circle(a, m, b)
    if math.isinf(radius):
        return [(a + (b - a) * t).real, (a + (b - a) * t).imag]
    # Twice the turn to the middle.
    half = np.angle((m - centre) / (a - centre))
    place = centre + (a - centre) * complex(math.cos(2 * half * t), math.sin(2 * half * t))
    return [place.real, place.imag]


def nameplate(skin, _place):
    x, y, z = skin
    letters = 2.01 <= z <= 4.5 and abs(x) <= 48 and abs(y) <= 11
    return (1.0, 0.0) if letters else (0.1, 0.9)


ASKED = {"nameplate": nameplate}


def mixed(tools, name, shares):
    kinds = sorted(set(shares))
    asked = []
    for kind in kinds:
        whole = sum(kind)
        asked.append({"mix": {"spools": SPOOLS[name], "shares": [s / whole for s in kind]}})
    labs = {k: a["lab"] for k, a in zip(kinds, tools.colours(asked))}
    return np.array([labs[s] for s in shares])


def grams(text):
    """The purge block's mass, as the command says it."""
    found = re.search(r"Purge block: .* ([0-9.]+) g", text)
    return float(found.group(1)) if found else 0.0


def watched(tools, plan, sliced, moves, spools):
    """Filament of each drive up to each height of the watch table, against the woven file: the
    greatest difference, in parts of what all drives have fed by then."""
    table = tools.tintfall("watch", plan, "--toolpath", sliced, "--every", "5")
    fed = []
    for move in moves:
        if move["fresh"] > 0 and move["blend"] is not None:
            height = max(move["start"][2], move["to"][2])
            fed.append([height, *(move["fresh"] * share for share in move["blend"])])
    fed = np.array(fed)
    worst = 0.0
    for row in table["rows"]:
        part = fed[fed[:, 0] <= row["height_mm"] + 1e-6]
        own = part[:, 1:].sum(axis=0)
        told_mm = np.array([drive["filament_mm"] for drive in row["drives"]])
        worst = max(worst, float(np.abs(own - told_mm).max() / own.sum()))
    return worst, len(table["rows"])


def said(text):
    return float(re.search(r"mean ΔE00 ([0-9.]+)", text).group(1))


def checks(tools):
    filament, astray, dry, air, means, count = [], [], [], [], [], 0
    watching, gaps, rows = [], [], 0
    for name in ("nameplate", "lighthouse"):
        plan, sliced = (tools.demos() / f"{name}{end}" for end in (".plan.ron", ".gcode"))
        out = tools.folder / f"{name}-order.gcode"
        command = [tools.built / "tintfall", "weave", plan, sliced, "--out", out]
        subprocess.run([*command, "--dialect", "slots"], check=True, capture_output=True)
        block, top = declared(out)
        before, after = (told(path, len(SPOOLS[name])) for path in (sliced, out))
        worst, off_mm, moves = laws(before, after, block, top)
        filament.append(worst)
        astray.append(off_mm)
        count += moves
        dry.append(longest_dry(after) - max(longest_dry(before), 0.5))
        air.append(in_the_air(after, block, top))
        worst, more = watched(tools, plan, sliced, after, len(SPOOLS[name]))
        watching.append(worst)
        rows += more
        verify = [tools.built / "tintfall", "verify", plan, out, "--dialect", "slots"]
        done = subprocess.run(verify, check=True, capture_output=True, text=True)
        folder = tools.folder / f"{name}-prepared"
        sheet = tools.tintfall("prepare", plan, "--toolpath", sliced, "--out", folder)
        gaps.append(abs(said(done.stdout) - sheet["as_printed"]["mean_de00"]))
        if name in ASKED:
            means.append(abs(said(done.stdout) - mean_de00(tools, name, after, block, top)))
    yield Check("filament of each layer, without the purge block, mm", SOURCE, max(filament), 2e-4, count)
    yield Check("each piece lies on the line that it was cut from, mm", SOURCE, max(astray), 2e-3, count)
    yield Check("ways gone without drawing back, beyond the sliced file's, mm", SOURCE,
                max(max(dry), 0.0), 0.01, len(dry))
    yield Check("layers of the purge block in the air", SOURCE, max(air), 0.0, len(air))
    yield Check("mean ΔE00 at the skin, against verify", SOURCE, max(means), 0.3, len(means))
    yield Check("filament of each drive by height, watch table against the woven file, part of all", SOURCE,
                max(watching), 0.01, rows)
    yield Check("mean ΔE00 of prepare --toolpath, against verify", SOURCE, max(gaps), 0.2, len(gaps))
