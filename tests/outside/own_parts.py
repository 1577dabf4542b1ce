"""Parts whose regions share layers, sliced here: a cube with stripes and a badge, a figure with painted eyes.

Solids and sections are trimesh's (manifold3d joins the figure's), walls and lines are shapely's. The
woven file is replayed as in order.py, with a machine, a chamber and a skin of its own, and held
against what verify says.
"""

import subprocess

import numpy as np
import shapely
import trimesh
from shapely import affinity
from shapely.geometry import LineString

import order
from tools import Check

SOURCE = "trimesh, manifold3d, shapely, gcodeparser, SciPy, colour-science"
AT = (110.0, 110.0)
LAYER, WIDTH, WALLS, SPARSE = 0.2, 0.45, 3, 4.0
PER_MM = WIDTH * LAYER / order.AREA

STRIPES = [(-11.0, -7.0), (-2.0, 2.0), (7.0, 11.0)]
CUBE = """(
    version: 1, title: "Striped cube", mesh: (file: "cube.stl"),
    spools: [(name: "Ivory", colour: Hex("#efe6cf")), (name: "Forest", colour: Hex("#1f4a33"))],
    layers: (first_layer_mm: 0.2, layer_mm: 0.2),
    regions: [
        (name: "Body", mask: Whole, paint: Fixed([1, 0])),
        (name: "Stripes", mask: Any([%s]), paint: Fixed([0.15, 0.85])),
        (name: "Badge", mask: Box(min_mm: (-5, -13, 12), max_mm: (5, -11.5, 18)), paint: Fixed([0.4, 0.6])),
    ],
)
""" % ", ".join(f"Box(min_mm: ({a}, -13, 3), max_mm: ({b}, -11.5, 9))" for a, b in STRIPES)
FIGURE = """(
    version: 1, title: "Figure", mesh: (file: "figure.stl"),
    spools: [(name: "Sand", colour: Hex("#d8b98a")), (name: "Coal", colour: Hex("#26262b"))],
    layers: (first_layer_mm: 0.2, layer_mm: 0.2),
    regions: [
        (name: "Body", mask: Whole, paint: Fixed([1, 0])),
        (name: "Eyes", mask: Any([
            Sphere(centre_mm: (-4, -7.5, 26), radius_mm: 2.2), Sphere(centre_mm: (4, -7.5, 26), radius_mm: 2.2),
        ]), paint: Fixed([0.1, 0.9])),
    ],
)
"""


def cube():
    solid = trimesh.creation.box((24, 24, 20))
    solid.apply_translation((0, 0, 10))
    return solid


def figure():
    body = trimesh.creation.icosphere(3, 11)
    body.apply_translation((0, 0, 9))
    head = trimesh.creation.icosphere(3, 8.5)
    head.apply_translation((0, 0, 24))
    joined = trimesh.boolean.union([body, head], engine="manifold")
    return trimesh.intersections.slice_mesh_plane(joined, (0, 0, 1), (0, 0, 0), cap=True)


def asked_of_cube(skin, _place):
    x, y, z = skin
    if y < -11.5:
        if abs(x) <= 5 and 12 <= z <= 18:
            return (0.4, 0.6)
        if 3 <= z <= 9 and any(a <= x <= b for a, b in STRIPES):
            return (0.15, 0.85)
    return (1.0, 0.0)


def asked_of_figure(skin, _place):
    eyes = [np.linalg.norm(np.subtract(skin, (side * 4.0, -7.5, 26.0))) <= 2.2 for side in (-1, 1)]
    return (0.1, 0.9) if any(eyes) else (1.0, 0.0)


PARTS = {
    "cube": (cube, CUBE, ["#efe6cf", "#1f4a33"], asked_of_cube),
    "figure": (figure, FIGURE, ["#d8b98a", "#26262b"], asked_of_figure),
}


def outline(solid, height):
    """The part's section at a height, on its own axes."""
    section = solid.section(plane_origin=(0, 0, height), plane_normal=(0, 0, 1))
    if section is None:
        return shapely.Polygon()
    rings = [shapely.Polygon(ring[:, :2]) for ring in section.discrete if len(ring) > 3]
    whole = shapely.Polygon()
    for ring in sorted(rings, key=lambda r: -r.area):
        whole = whole.symmetric_difference(ring.buffer(0))
    return whole.simplify(0.01)


def rings(area):
    return [r for p in shapely.get_parts(area) if not p.is_empty for r in (p.exterior, *p.interiors)]


def lines(area, angle, apart):
    """Lines across an area."""
    if area.is_empty:
        return []
    turned = affinity.rotate(area, -angle, origin=(0, 0))
    x0, y0, x1, y1 = turned.bounds
    found = []
    for y in np.arange(np.ceil(y0 / apart) * apart, y1, apart):
        cut = turned.intersection(LineString([(x0 - 1, y), (x1 + 1, y)]))
        found += [part for part in shapely.get_parts(cut) if part.length > 1.0]
    return [affinity.rotate(part, angle, origin=(0, 0)) for part in found]


def sliced(solid, path):
    """A toolpath: walls from the inside outwards, solid bottoms and tops, sparse lines between."""
    count = int(round(solid.bounds[1][2] / LAYER))
    areas = [outline(solid, (i + 0.5) * LAYER) for i in range(count)]
    with open(path, "w", encoding="utf-8") as out:
        out.write("G21\nG90\nM83\nG92 E0\n")
        for i, area in enumerate(areas):
            out.write(f"G0 Z{(i + 1) * LAYER:.3f} F9000\n")
            for wall in reversed(range(WALLS)):
                for ring in rings(area.buffer(-WIDTH * (wall + 0.5))):
                    run(out, list(ring.simplify(0.01).coords))
            inner = area.buffer(-WIDTH * WALLS)
            near = [areas[j] if 0 <= j < count else shapely.Polygon() for j in range(i - 3, i + 4)]
            covered = shapely.intersection_all(near)
            angle = 45 if i % 2 else -45
            for line in lines(inner.difference(covered), angle, WIDTH):
                run(out, list(line.coords))
            for line in lines(inner.intersection(covered), angle, SPARSE):
                run(out, list(line.coords))


def run(out, points):
    x, y = points[0][0] + AT[0], points[0][1] + AT[1]
    out.write(f"G1 E-0.8 F1800\nG0 X{x:.3f} Y{y:.3f} F9000\nG1 E0.8 F1800\nG1 F2400\n")
    for point in points[1:]:
        nx, ny = point[0] + AT[0], point[1] + AT[1]
        length = float(np.hypot(nx - x, ny - y))
        if length > 1e-3:
            out.write(f"G1 X{nx:.3f} Y{ny:.3f} E{length * PER_MM:.5f}\n")
            x, y = nx, ny


def checks(tools):
    filament, astray, means, colours, count = [], [], [], [], 0
    for name, (solid, plan, spools, asked) in PARTS.items():
        mesh = solid()
        mesh.export(tools.folder / f"{name}.stl")
        plan_file = tools.folder / f"{name}.plan.ron"
        plan_file.write_text(plan, encoding="utf-8")
        toolpath = tools.folder / f"{name}.gcode"
        sliced(mesh, toolpath)
        out = tools.folder / f"{name}-woven.gcode"
        stand = ["--stand", "0", *map(str, AT)]
        command = [tools.built / "tintfall", "weave", plan_file, toolpath, "--out", out, *stand]
        done = subprocess.run([*command, "--dialect", "slots"], check=True, capture_output=True, text=True)
        block, top = order.declared(out)
        before, after = (order.told(path, len(spools)) for path in (toolpath, out))
        worst, off_mm, moves = order.laws(before, after, block, top)
        filament.append(worst)
        astray.append(off_mm)
        count += moves
        verify = [tools.built / "tintfall", "verify", plan_file, out, "--dialect", "slots", *stand]
        said = subprocess.run([*verify, "--before", toolpath], check=True, capture_output=True, text=True)
        mean = order.said(said.stdout)
        order.ASKED[name], order.SPOOLS[name] = asked, spools
        own = order.mean_de00(tools, name, after, block, top, mesh)
        print(f"       {name}: mean ΔE00 {mean:.2f} by verify, {own:.2f} here;"
              f" {order.grams(done.stdout):.1f} g in the block")
        means.append(abs(mean - own))
        colours.append(own)
    yield Check("own parts: filament of each layer, without the purge block, mm", SOURCE, max(filament), 2e-4, count)
    yield Check("own parts: each piece lies on its line, mm", SOURCE, max(astray), 2e-3, count)
    yield Check("own parts: mean ΔE00 at the skin, against verify", SOURCE, max(means), 0.3, len(means))
    yield Check("own parts: mean ΔE00 at the skin", SOURCE, max(colours), 0.8, len(colours))
