"""A part in bodies, one for each stored blend, against manifold3d, trimesh and lib3mf.

Each body must be a manifold without error, bodies must share no volume, add up to the part and
unite to it: for the demonstration parts, and for seeded meshes with bands, strokes, creases,
shells and fades, some of them damaged first. lib3mf, the 3MF Consortium's own implementation,
reads the 3MF in strict mode. `python3 bodies.py 60` takes all 60 meshes; the run takes a few.
"""

import json
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
import zipfile

import lib3mf
import manifold3d
import numpy as np
import trimesh

import meshes
from tools import Check, Tools

SEED = 20261129
ALL = 60
FEW = 8
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"

# What is done to every fifth mesh before it is cut; the others are as they are.
DAMAGE = [meshes.crossing, meshes.unwelded, meshes.some_flipped, meshes.some_doubled, meshes.nested,
          meshes.cavity, meshes.touching, meshes.shared_faces]


def checks(tools):
    yield from demonstration_parts(tools)
    yield from seeded(tools, FEW)


# The demonstration parts

def demonstration_parts(tools):
    for plan in sorted(tools.demos().glob("*.plan.ron")):
        name = plan.name.removesuffix(".plan.ron")
        for words in ([], ["--inside", "largest", "--tools", "5"]):
            out = tools.folder / f"bodies-{name}-{len(words)}"
            told = tools.tintfall("bodies", plan, "--out", out, *words)
            part = trimesh.load(plan.with_name(f"{name}.stl"))
            what = " ".join([name, *words])
            found = read(out / "bodies.3mf")
            whole = measured(found, solid_of(part.vertices, part.faces, found))
            yield from whole.checks(what)
            yield from lib3mf_reads(what, out / "bodies.3mf", told)
            yield from single_files(what, out, told)


def lib3mf_reads(name, path, told):
    wrapper = lib3mf.get_wrapper() if hasattr(lib3mf, "get_wrapper") else lib3mf.Wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    source = "lib3mf, strict mode"
    yield Check(f"{name}: 3MF warnings", source, reader.GetWarningCount(), 0, 1)
    names, closed = [], True
    objects = model.GetMeshObjects()
    while objects.MoveNext():
        one = objects.GetCurrentMeshObject()
        names.append(one.GetName())
        closed &= one.IsManifoldAndOriented()
    wanted = [tool["name"] for tool in told["tools"]]
    yield Check(f"{name}: objects by name", source, names != wanted, 0, len(wanted))
    yield Check(f"{name}: closed and facing outwards", source, not closed, 0, len(wanted))
    groups = model.GetBaseMaterialGroups()
    groups.MoveNext()
    group = groups.GetCurrentBaseMaterialGroup()
    colours = []
    for material in group.GetAllPropertyIDs():
        c = group.GetDisplayColor(material)
        colours.append(f"#{c.Red:02x}{c.Green:02x}{c.Blue:02x}")
    wanted = [tool["colour"] for tool in told["tools"]]
    yield Check(f"{name}: display colours", source, colours != wanted, 0, len(wanted))
    items = model.GetBuildItems()
    yield Check(f"{name}: one thing to build", source, items.Count() != 1, 0, 1)
    assembly = model.GetComponentsObjects()
    assembly.MoveNext()
    count = assembly.GetCurrentComponentsObject().GetComponentCount()
    yield Check(f"{name}: of all bodies", source, count != len(wanted), 0, 1)


def single_files(name, out, told):
    volumes, off = 0.0, 0.0
    for tool in told["tools"]:
        stl = trimesh.load(out / tool["file"])
        volumes += stl.volume
        off = max(off, abs(stl.volume - tool["volume_mm3"]) / told["part_mm3"])
    yield Check(f"{name}: STL volumes", "trimesh", off, 1e-6, len(told["tools"]))
    yield Check(f"{name}: their sum", "trimesh", abs(volumes / told["part_mm3"] - 1), 1e-6, 1)


# Bodies measured

class Measured:
    """The worst of many parts in bodies."""

    def __init__(self):
        self.count = self.bad = self.open = 0
        self.sum = self.shared = self.difference = self.exact = 0.0

    def add(self, other):
        for name in ["count", "bad", "open"]:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for name in ["sum", "shared", "difference"]:
            setattr(self, name, max(getattr(self, name), getattr(other, name)))

    def checks(self, name):
        n, m3 = self.count, "manifold3d"
        yield Check(f"{name}: bodies with an error", m3, self.bad, 0, n)
        yield Check(f"{name}: bodies not watertight", "trimesh", self.open, 0, n)
        yield Check(f"{name}: volumes add up", m3, self.sum, 1e-9, n)
        yield Check(f"{name}: what two bodies share", m3, self.shared, 1e-9, n)
        yield Check(f"{name}: union beside the part", m3, self.difference, 1e-6, n)


def read(path):
    """The objects of a 3MF with all their digits: vertices and triangles."""
    with zipfile.ZipFile(path) as package:
        root = ElementTree.fromstring(package.read("3D/3dmodel.model"))
    found = []
    for mesh in root.iter(f"{CORE}mesh"):
        vertices = [[float(v.get(axis)) for axis in "xyz"] for v in mesh.iter(f"{CORE}vertex")]
        faces = [[int(t.get(v)) for v in ("v1", "v2", "v3")] for t in mesh.iter(f"{CORE}triangle")]
        found.append((np.array(vertices), np.array(faces, np.int64)))
    return found


def solid_of(vertices, faces, bodies):
    """A mesh as the bodies stand: they are centred on the plate."""
    low = np.min([v.min(axis=0) for v, _ in bodies], axis=0)
    moved = np.asarray(vertices) + (low - np.asarray(vertices).min(axis=0))
    return manifold_of(moved, faces)


def manifold_of(vertices, faces):
    mesh = manifold3d.Mesh64(np.ascontiguousarray(vertices, float), np.asarray(faces, np.uint64))
    return manifold3d.Manifold(mesh)


def measured(bodies, part):
    found = Measured()
    found.count = len(bodies)
    solids = [manifold_of(v, f) for v, f in bodies]
    found.bad = sum(s.status() != manifold3d.Error.NoError or s.is_empty() for s in solids)
    for vertices, faces in bodies:
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        found.open += not (mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0)
    whole = part.volume()
    exact = sum(signed_volume(v, f) for v, f in bodies)
    found.exact = exact
    found.sum = abs(exact / whole - 1)
    for i, one in enumerate(solids):
        for j in range(i + 1, len(solids)):
            shared = shared_volume(one ^ solids[j], bodies[i], bodies[j], 1e-10 * whole)
            found.shared = max(found.shared, shared / whole)
    united = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    # What bodies share, the union lacks of their sum.
    found.shared = max(found.shared, abs(exact - united.volume()) / whole)
    found.difference = ((part - united).volume() + (united - part).volume()) / whole
    return found


def shared_volume(both, one, other, least):
    """The volume of what manifold3d finds in both of two bodies.

    Between walls that coincide it may leave a film, and turn a side of it, which then encloses a
    hair's volume that neither it nor the bodies have. So a piece of more than `least` counts only
    if some point of it lies in both bodies, by their winding numbers.
    """
    rng = np.random.default_rng(SEED)
    volume = 0.0
    for piece in both.decompose():
        if abs(piece.volume()) > least:
            vertices, faces = meshes.arrays(piece)
            points = rng.dirichlet(np.full(len(vertices), 0.7), 400) @ vertices
            inside = [p for p in points if winding(vertices, faces, p) > 0.5][:20]
            if not any(winding(*one, p) > 0.5 and winding(*other, p) > 0.5 for p in inside):
                continue
        volume += abs(piece.volume())
    return volume


def winding(vertices, faces, point):
    """How often a mesh winds about a point: the sum of its solid angles (A. van Oosterom,
    J. Strackee, IEEE Transactions on Biomedical Engineering 30, 1983, from memory)."""
    a, b, c = (vertices[faces[:, i]] - point for i in range(3))
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    ab, bc, ca = (np.einsum("ij,ij->i", x, y) for x, y in ((a, b), (b, c), (c, a)))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    return np.arctan2(triple, la * lb * lc + ab * lc + bc * la + ca * lb).sum() / (2 * np.pi)


def signed_volume(vertices, faces):
    a, b, c = (vertices[faces[:, i]] - vertices.mean(axis=0) for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


# Seeded meshes

def seeded(tools, count):
    yield from seeded_some(tools, range(count))


def seeded_some(tools, numbers):
    count = len(numbers)
    whole, refused, names = Measured(), [], []
    folder = tools.folder / "bodies"
    folder.mkdir(exist_ok=True)
    for number in numbers:
        case, text = made(number)
        name = f"part-{number}"
        meshes.write_ply(folder / f"{name}.ply", case.vertices, case.faces)
        plan = folder / f"{name}.plan.ron"
        plan.write_text(text.replace("MESH", f"{name}.ply"))
        words = ["--inside", "largest"] if number % 4 == 3 else []
        words += ["--depth", str([0.6, 1.2, 2.0][number % 3])]
        command = [tools.built / "tintfall", "bodies", plan, "--out", folder / name, *words]
        done = subprocess.run(list(map(str, command)), capture_output=True, text=True)
        if done.returncode:
            refused.append(f"{name} ({case.name}): {done.stderr.strip().splitlines()[-1]}")
            continue
        one = measured(read(folder / name / "bodies.3mf"), case.solid)
        if not case.sound:
            # A mesh of rounded corners, welded, is a hair off the solid it was made from: the
            # bodies must add up to what was cut, and unite to the solid within 1e-6.
            cut = json.loads((folder / name / "tools.json").read_text())["part_mm3"]
            one.sum = abs(one.exact / cut - 1)
        if one.bad or one.open or one.sum > 1e-9 or one.shared > 1e-9 or one.difference > 1e-6:
            names.append((name, case.name, vars(one)))
        whole.add(one)
    for line in refused + names:
        print("   ", line)
    yield Check(f"{count} seeded meshes: refused", "the seeded meshes", len(refused), 0, count)
    yield from whole.checks(f"{count} seeded meshes")


def made(number):
    """A mesh that stands on the plate, larger than a nozzle's line, and a plan for it."""
    rng = np.random.default_rng([SEED, number])
    shapes = meshes.shapes()
    shape = sorted(shapes)[number % len(shapes)]
    solid = shapes[shape].scale([2.0, 2.0, 2.0])
    damage = DAMAGE[number // 5 % len(DAMAGE)] if number % 5 == 4 else meshes.as_it_is
    case = damage(solid, rng)
    case.name = f"{damage.__name__} {shape}"
    lift = -np.asarray(case.vertices)[:, 2].min()
    case.vertices = np.asarray(case.vertices, float) + [0, 0, lift]
    case.solid = case.solid.translate([0, 0, lift])
    vertices, _ = meshes.arrays(case.solid)
    low, high = vertices[:, 2].min(), vertices[:, 2].max()
    skin = trimesh.Trimesh(*meshes.arrays(case.solid), process=False)
    places, _ = trimesh.sample.sample_surface(skin, 12, seed=number)
    regions = ['(name: "Base", mask: Whole, paint: Fixed([1, 0]))']
    if number % 3 == 1:
        stops = f"(at_mm: {low}, shares: [0.9, 0.1]), (at_mm: {high}, shares: [0.2, 0.8])"
        regions = [f'(name: "Base", mask: Whole, paint: Fade(along: Height, fade: (stops: [{stops}])))']
    for band in range(number % 3):
        a, b = np.sort(rng.uniform(low, high, 2))
        share = rng.uniform(0, 1)
        regions.append(f'(name: "Band {band}", mask: Band(from_mm: {a}, to_mm: {b}), '
                       f"paint: Fixed([{share}, {1 - share}]))")
    for stroke in range(1 + number % 4):
        p = places[stroke]
        ends = [p, p + rng.normal(0, 2, 3)] if stroke % 2 else [p]
        dabs = ", ".join(f"({x}, {y}, {z})" for x, y, z in ends)
        share = rng.uniform(0, 1)
        regions.append(f'(name: "Stroke {stroke}", mask: Stroke(dabs_mm: [{dabs}], radius_mm: '
                       f"{rng.uniform(1, 4)}), paint: Fixed([{share}, {1 - share}]))")
    if number % 2:
        x, y, z = places[8]
        regions.append(f'(name: "Crease", mask: Crease(near_mm: ({x}, {y}, {z}), angle_deg: 30), '
                       "paint: Fixed([0.3, 0.7]))")
    if number % 5 == 4:
        x, y, z = places[9]
        regions.append(f'(name: "Shell", mask: Shell(near_mm: ({x}, {y}, {z})), '
                       "paint: Fixed([0.05, 0.95]))")
    text = (
        '(version: 1, title: "Seeded", mesh: (file: "MESH", place: (stand: AsDrawn)), '
        'spools: [(name: "A", colour: Hex("#f4f2ec")), (name: "B", colour: Hex("#12507b"))], '
        "layers: (first_layer_mm: 0.3, layer_mm: 0.2), "
        f"regions: [{', '.join(regions)}])"
    )
    return case, text


def study(count):
    tools = Tools()
    tools.build()
    for check in [*demonstration_parts(tools), *seeded(tools, count)]:
        mark = "ok  " if check.holds else "FAIL"
        print(f"  {mark} {check.what}: worst {check.worst:.3g} of {check.allowed:.3g} allowed,"
              f" {check.count} compared ({check.source})")


if __name__ == "__main__":
    study(int(sys.argv[1]) if len(sys.argv) > 1 else ALL)
