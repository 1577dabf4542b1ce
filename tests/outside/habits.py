"""Toolpaths of many habits, laid by trimesh and shapely: material for other checks.

Every file prints the same part; what differs is what slicers and their users are free in: the order
of walls, how E counts, arcs, a nozzle that climbs all the time, copies, supports, brims, units,
checksums. Habits are common practice, no source. Nothing here knows Tintfall.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import trimesh
from shapely import affinity
from shapely.geometry import LineString, MultiLineString, Polygon, box
from shapely.ops import unary_union

AREA = math.pi * 1.75**2 / 4
WIDTH = 0.45


@dataclass(frozen=True)
class Habit:
    """What a slicer does its own way."""

    name: str
    turn_deg: tuple = (0.0,)
    shift_mm: tuple = ((110.0, 110.0),)
    layers_mm: tuple = (0.2, 0.2)
    walls: int = 2
    outer_first: bool = False
    by_loops: bool = False
    solid: int = 3
    sparse_mm: float = 3.0
    e: str = "relative"
    hold: str = "length"
    lift_mm: float = 0.0
    arcs: bool = False
    vase: bool = False
    sequential: bool = False
    supports: bool = False
    ironing: bool = False
    brim: int = 0
    skirt: bool = False
    raft_mm: float = 0.0
    inches: bool = False
    checksums: bool = False
    crlf: bool = False
    prime: bool = False
    tool: str = ""
    flow: int = 100
    volumetric: bool = False
    shifted_zero: bool = False
    fan: bool = False
    scale: tuple = (1.0, 1.0, 1.0)
    left_out: int = 0
    cut: float = 1.0


# The part: a block with a step on one side and a peg on top, so that it looks like itself at no turn.
SIZE = (24.0, 16.0, 9.0)


def part():
    """The part, its lowest place at z = 0 and its extent about the origin."""
    block = trimesh.creation.box(extents=SIZE)
    block.apply_translation([0, 0, SIZE[2] / 2])
    step = trimesh.creation.box(extents=(6, 10, 5))
    step.apply_translation([SIZE[0] / 2 + 2.9, -2, 2.5])
    peg = trimesh.creation.cylinder(radius=3.0, height=4, sections=72)
    peg.apply_translation([-6, 3, SIZE[2] + 1.9])
    mesh = trimesh.boolean.union([block, step, peg], engine="manifold")
    low, high = mesh.bounds
    mesh.apply_translation([-(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, -low[2]])
    return mesh


def tops(height, habit):
    """Heights of the layers' tops."""
    first, layer = habit.layers_mm
    found, top = [], first
    while top < height + 1e-6:
        found.append(round(top, 6))
        top += layer
    return found


def sections(mesh, heights):
    """The part's outline at each height, as one shape."""
    cut = mesh.section_multiplane([0, 0, 0], [0, 0, 1], heights)
    shapes = []
    for path in cut:
        if path is None:
            shapes.append(Polygon())
            continue
        there = trimesh.transform_points
        rings = [Polygon(there(np.column_stack([r, np.zeros(len(r))]), path.metadata["to_3D"])[:, :2])
                 for r in path.discrete]
        shape = Polygon()
        for ring in sorted(rings, key=lambda r: -r.area):
            shape = shape.symmetric_difference(ring.buffer(0))
        shapes.append(shape)
    return shapes


def polygons(shape):
    return [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, Polygon) and p.area > 0.01]


def loops(shape):
    """Closed lines along a shape's edges."""
    found = []
    for polygon in polygons(shape):
        for ring in [polygon.exterior, *polygon.interiors]:
            points = [tuple(p) for p in ring.simplify(0.002).coords]
            if len(points) > 3:
                found.append(points)
    return found


def hatch(shape, apart, angle):
    """Parallel lines through a shape, there and back."""
    if shape.is_empty:
        return []
    turned = affinity.rotate(shape, -angle, origin=(0, 0))
    low_x, low_y, high_x, high_y = turned.bounds
    found = []
    for row in range(math.floor(low_y / apart), math.ceil(high_y / apart) + 1):
        y = (row + 0.5) * apart
        cut = turned.intersection(LineString([(low_x - 1, y), (high_x + 1, y)]))
        parts = [p for p in getattr(cut, "geoms", [cut]) if isinstance(p, LineString) and p.length > 0.2]
        parts.sort(key=lambda p: p.bounds[0], reverse=bool(row % 2))
        for part in parts:
            points = sorted(part.coords, reverse=bool(row % 2))
            back = affinity.rotate(LineString(points), angle, origin=(0, 0))
            found.append([tuple(p) for p in back.coords])
    return found


class Pen:
    """Writes moves in one habit."""

    def __init__(self, habit):
        self.habit = habit
        self.lines = []
        self.number = 0
        self.at = [0.0, 0.0, 0.0]
        self.zero = [0.0, 0.0]
        self.e = 0
        self.printed = False
        self.relative = habit.e == "relative"

    def say(self, text):
        if self.habit.checksums:
            self.number += 1
            text = f"N{self.number} {text}"
            total = 0
            for byte in text.encode():
                total ^= byte
            text = f"{text}*{total}"
        self.lines.append(text)

    def note(self, text):
        if not self.habit.checksums:
            self.lines.append(f"; {text}")

    def length(self, value, decimals=3):
        if self.habit.inches:
            return f"{value / 25.4:.{decimals + 2}f}"
        return f"{value:.{decimals}f}"

    def fed(self, mm):
        """The E word's number for so much filament."""
        value = mm * AREA if self.habit.volumetric else mm
        if self.habit.inches and not self.habit.volumetric:
            value /= 25.4
        units = round(value / (self.habit.flow / 100.0) * 1e5)
        self.e += units
        return f"{(units if self.relative else self.e) / 1e5:.5f}"

    def place(self, x, y):
        return f"X{self.length(x - self.zero[0])} Y{self.length(y - self.zero[1])}"

    def speed(self, mm_min):
        return f"F{mm_min / 25.4:.4f}" if self.habit.inches else f"F{mm_min}"

    def rise(self, z):
        self.say(f"G0 Z{self.length(z)} {self.speed(9000)}")
        self.at[2] = z

    def travel(self, x, y):
        away = math.dist(self.at[:2], (x, y))
        if away < 1e-9:
            return
        hold = away > 2.0 and self.printed
        if hold:
            self.hold(True)
        if hold and self.habit.lift_mm:
            self.say(f"G0 Z{self.length(self.at[2] + self.habit.lift_mm)} {self.speed(9000)}")
        self.say(f"G0 {self.place(x, y)} {self.speed(9000)}")
        if hold and self.habit.lift_mm:
            self.say(f"G0 Z{self.length(self.at[2])} {self.speed(9000)}")
        if hold:
            self.hold(False)
        self.at[:2] = [x, y]

    def hold(self, back):
        if self.habit.hold == "firmware":
            self.say("G10" if back else "G11")
        elif self.habit.hold == "length":
            self.say(f"G1 E{self.fed(-0.8 if back else 0.8)} {self.speed(1800)}")

    def line(self, points, layer, speed=2400, part=1.0):
        """One run through points."""
        self.travel(*points[0])
        self.say(f"G1 {self.speed(speed)}")
        done = 0
        while done + 1 < len(points):
            curve = arc(points, done) if self.habit.arcs else None
            if curve:
                done, way, centre, code = curve
                ij = f" I{self.length(centre[0] - self.at[0], 4)} J{self.length(centre[1] - self.at[1], 4)}"
            else:
                done, code, ij = done + 1, 1, ""
                way = math.dist(self.at[:2], points[done])
            x, y = points[done]
            fed = way * layer * WIDTH / AREA * part
            self.say(f"G{code} {self.place(x, y)}{ij} E{self.fed(fed)}")
            self.at[:2] = [x, y]
            self.printed = True

    def count_anew(self):
        if not self.relative:
            self.say("G92 E0")
            self.e = 0


def arc(points, start):
    """The longest arc from a point on: where it ends, its length, centre and code; none if short."""
    best = None
    for end in range(start + 3, min(start + 60, len(points))):
        a, b, c = (complex(*points[i]) for i in (start, (start + end) // 2, end))
        u, v = b - a, c - a
        w = v / u if u else 0
        if not u or abs(w.imag) < 1e-6:
            break
        centre = a + u * (w - abs(w) ** 2) / (2j * w.imag)
        radius = abs(a - centre)
        on = all(abs(abs(complex(*p) - centre) - radius) < 0.01 for p in points[start:end + 1])
        turn = 0.0
        for p, q in zip(points[start:end], points[start + 1:end + 1]):
            turn += np.angle((complex(*q) - centre) / (complex(*p) - centre))
        if not on or radius > 200 or abs(turn) > math.pi:
            break
        best = (end, radius * abs(turn), (centre.real, centre.imag), 3 if turn > 0 else 2)
    return best


def runs(shape, covered, index, habit):
    """A layer's runs: kind, and points."""
    found = []
    each = polygons(shape) if habit.by_loops else [shape]
    for island in each:
        walls = []
        for wall in range(1 if habit.vase else habit.walls):
            walls += [("wall", p) for p in loops(island.buffer(-WIDTH * (wall + 0.5), join_style=2))]
        found += walls if habit.outer_first else walls[::-1]
        if habit.vase:
            continue
        inner = island.buffer(-WIDTH * (habit.walls - 0.1), join_style=2)
        angle = 45 if index % 2 == 0 else 135
        found += [("fill", p) for p in hatch(inner.difference(covered), WIDTH, angle)]
        if habit.sparse_mm:
            found += [("fill", p) for p in hatch(inner.intersection(covered), habit.sparse_mm, angle)]
    return found


def placed(points, turn_deg, shift):
    turn = complex(math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg)))
    made = [complex(*p) * turn for p in points]
    return [(round(p.real + shift[0], 3), round(p.imag + shift[1], 3)) for p in made]


def begin(pen):
    habit = pen.habit
    pen.say("G20" if habit.inches else "G21")
    pen.say("G90")
    pen.say("M83" if pen.relative else "M82")
    if habit.volumetric:
        pen.say("M200 D1.75")
    if habit.tool == "start":
        pen.say("T0")
    pen.say("G92 E0")
    if habit.flow != 100:
        pen.say(f"M221 S{habit.flow}")
    if habit.prime:
        pen.rise(0.3)
        pen.line([(5, 5), (5, 80)], 0.3)
        pen.hold(True)
        pen.hold(False)
    if habit.tool == "prime":
        pen.say("T0")
    if habit.shifted_zero:
        pen.say(f"G92 X{pen.length(pen.at[0] - 7)} Y{pen.length(pen.at[1] + 3)}")
        pen.zero = [7.0, -3.0]


def vase(pen, shapes, heights, habit):
    """One wall that climbs all the time, on a solid bottom."""
    turn, shift = habit.turn_deg[0], habit.shift_mm[0]
    below = 0.0
    for index, (shape, top) in enumerate(zip(shapes, heights)):
        layer = top - below
        pen.count_anew()
        if index < habit.solid:
            pen.rise(top)
            lines = [p for _, p in runs(shape, Polygon(), index, replace(habit, vase=False, walls=1))]
            for points in lines:
                pen.line(placed(points, turn, shift), layer)
        else:
            for loop in loops(shape.buffer(-WIDTH / 2, join_style=2))[:1]:
                points = placed(loop, turn, shift)
                nearest = min(range(len(points) - 1), key=lambda i: math.dist(points[i], pen.at[:2]))
                points = points[nearest:-1] + points[:nearest + 1]
                if index == habit.solid:
                    pen.rise(below)
                    pen.travel(*points[0])
                    pen.say(f"G1 {pen.speed(2400)}")
                length = LineString(points).length
                done = 0.0
                way = math.dist(pen.at[:2], points[0])
                for point in points:
                    way = math.dist(pen.at[:2], point)
                    done += way
                    pen.at[:2] = point
                    if way < 1e-9:
                        continue
                    z = below + layer * min(done / length, 1.0)
                    pen.say(f"G1 {pen.place(*point)} Z{pen.length(z)} E{pen.fed(way * layer * WIDTH / AREA)}")
                pen.printed = True
                pen.at[2] = top
        below = top


def lay(mesh, habit):
    """The whole file of one habit, as text."""
    mesh = mesh.copy()
    mesh.apply_scale(habit.scale)
    heights = tops(mesh.bounds[1][2], habit)
    thick = np.diff([0.0, *heights])
    shapes = sections(mesh, [t - h / 2 for t, h in zip(heights, thick)])
    pen = Pen(habit)
    pen.note("made up for a check")
    begin(pen)
    base = raft(pen, shapes, habit)
    used = list(zip(shapes, heights, thick))[: len(heights) - habit.left_out or None]
    if habit.vase:
        vase(pen, shapes, heights, habit)
    else:
        covers = [covered(shapes, i, habit.solid) for i in range(len(shapes))]
        lines = [runs(shape, covers[i], i, habit) for i, (shape, _, _) in enumerate(used)]
        copies = list(zip(habit.turn_deg, habit.shift_mm))
        groups = [[c] for c in copies] if habit.sequential else [copies]
        for group in groups:
            if habit.sequential and pen.printed:
                pen.rise(heights[-1] + 5)
                pen.travel(*group[0][1])
            for i, (shape, top, layer) in enumerate(used):
                pen.note(f"layer {i}")
                pen.count_anew()
                pen.rise(top + base)
                if habit.e == "changes" and i == len(used) // 2:
                    pen.say("M83")
                    pen.relative = True
                if i == 0:
                    around(pen, shape, group, layer, habit)
                if habit.fan:
                    pen.say(f"M106 S{min(80 + 40 * i, 255)}")
                for turn, shift in group:
                    for kind, points in lines[i]:
                        pen.line(placed(points, turn, shift), layer, 1800 if kind == "wall" else 3000)
                    beside(pen, mesh, i, len(used), turn, shift, layer, habit)
                if habit.ironing and i == len(used) - 1:
                    for turn, shift in group:
                        for points in hatch(shape.buffer(-0.5), 0.2, 90):
                            pen.line(placed(points, turn, shift), layer, 1200, 0.1)
    pen.say("M107")
    end = "\r\n" if habit.crlf else "\n"
    text = end.join(pen.lines) + end
    return text[: int(len(text) * habit.cut)]


def covered(shapes, index, layers):
    """What lies under and over enough other layers to need no solid filling."""
    if index < layers or index + layers >= len(shapes):
        return Polygon()
    shape = shapes[index]
    for other in shapes[index - layers: index + layers + 1]:
        shape = shape.intersection(other)
    return shape


def raft(pen, shapes, habit):
    """Lines beneath the part; its height."""
    if not habit.raft_mm:
        return 0.0
    count = max(2, round(habit.raft_mm / 0.3))
    shape = unary_union([shapes[0]]).buffer(3.0)
    for i in range(count):
        pen.count_anew()
        pen.rise(habit.raft_mm * (i + 1) / count)
        for turn, shift in zip(habit.turn_deg, habit.shift_mm):
            for points in hatch(shape, 1.2 if i + 1 < count else WIDTH, 90 * i):
                pen.line(placed(points, turn, shift), habit.raft_mm / count)
    return habit.raft_mm


def around(pen, shape, group, layer, habit):
    """Brim and skirt."""
    for turn, shift in group:
        for ring in range(habit.brim, 0, -1):
            for points in loops(shape.buffer(WIDTH * (ring - 0.5))):
                pen.line(placed(points, turn, shift), layer)
        if habit.skirt:
            for points in loops(shape.buffer(6.0)):
                pen.line(placed(points, turn, shift), layer)


def beside(pen, mesh, index, count, turn, shift, layer, habit):
    """Supports: a hatched block right beside the part, as high as half of it."""
    if not habit.supports or index > count // 2:
        return
    low, high = mesh.bounds[0], mesh.bounds[1]
    block = box(low[0] - 6, low[1], low[0] - 0.5, high[1])
    for points in hatch(block, 1.5, 90 * (index % 2)):
        pen.line(placed(points, turn, shift), layer)


ALL = [
    Habit("plain"),
    Habit("outer walls first", outer_first=True),
    Habit("island by island", by_loops=True),
    Habit("absolute E", e="absolute"),
    Habit("E that changes its mode", e="changes"),
    Habit("firmware retraction", hold="firmware"),
    Habit("no retraction", hold="none"),
    Habit("lifted travels", lift_mm=0.4),
    Habit("arcs", arcs=True),
    Habit("inches", inches=True),
    Habit("inches, absolute E", inches=True, e="absolute"),
    Habit("checksums", checksums=True),
    Habit("CRLF", crlf=True),
    Habit("brim and skirt", brim=5, skirt=True),
    Habit("supports", supports=True),
    Habit("ironing", ironing=True),
    Habit("a fan", fan=True),
    Habit("turned", turn_deg=(-37.0,)),
    Habit("turned by 180", turn_deg=(180.0,)),
    Habit("two copies", turn_deg=(0.0, 0.0), shift_mm=((80.0, 100.0), (130.0, 100.0))),
    Habit("two copies, one turned", turn_deg=(0.0, 90.0), shift_mm=((80.0, 100.0), (120.0, 104.0))),
    Habit("one after another", turn_deg=(0.0, 0.0), shift_mm=((70.0, 100.0), (140.0, 100.0)), sequential=True),
    Habit("vase", vase=True),
    Habit("vase, absolute E", vase=True, e="absolute"),
    Habit("thick first layer", layers_mm=(0.3, 0.2)),
    Habit("thin layers", layers_mm=(0.12, 0.12)),
    Habit("a raft", raft_mm=0.9),
    Habit("a tool at the start", tool="start"),
    Habit("a tool after a prime line", prime=True, tool="prime"),
    Habit("flow of 95 %", flow=95),
    Habit("volumetric E", volumetric=True),
    Habit("volumetric absolute E", volumetric=True, e="absolute"),
    Habit("another zero", shifted_zero=True),
    Habit("three walls, solid", walls=3, sparse_mm=WIDTH),
]

# Files that are not the part as it should be, and a word of what must be said of each.
WRONG = [
    (Habit("cut off", cut=0.6), "cut off"),
    (Habit("cut off in the last layer", cut=0.995), "cut off"),
    (Habit("the last layer missing", left_out=1), "last layer is missing"),
    (Habit("2 % wider in x", scale=(1.02, 1.0, 1.0)), "1.02 times the part's size in x and 1.00 times in y"),
    (Habit("2 % larger", scale=(1.02, 1.02, 1.02)), "1.02 times the part's size in x and 1.02 times in y"),
    (Habit("10 % higher", scale=(1.0, 1.0, 1.1)), "mm high"),
]
