"""Damaged meshes: found, cut and mended, against manifold3d, trimesh and libigl.

A seeded script makes shapes and damages them in every way that comes up: holes, flips, doubles,
T-junctions, slivers, faces in the plane of a cut, crossings, cavities, far from the origin, tiny,
corners that differ by rounding, open. What each must come to is known from the shapes before they
were damaged, united by manifold3d.
"""

import json
import subprocess
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import igl
import manifold3d
import numpy as np
import trimesh

from tools import Check

SEED = 20260714
RELATIVE = 1e-6
LAYERS = 12
POINTS = 60


@dataclass
class Case:
    """A damaged mesh and the solid that it must come to."""

    name: str
    vertices: np.ndarray
    faces: np.ndarray
    solid: manifold3d.Manifold
    # Whether the mesh is as it should be, so that nothing may be told.
    sound: bool = False
    # Whether outlines are exact unmended: not where facets are missing, or there twice here and
    # there, so that the surface is not closed.
    layers: bool = True
    # Far from the origin coordinates themselves are rounded.
    slack: float = 1.0
    # The mesh is this much of the solid's size: manifold3d cuts to 1e-8 mm.
    scale: float = 1.0
    # How much of the surface bounds a sealed cavity, mm².
    sealed: float = 0.0
    # How many slivers were seen before mending and after.
    slivers: tuple = (0, 0)


# Shapes

def manifold_of(vertices, faces):
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(np.asarray(vertices, float), np.asarray(faces, np.uint64))
    )
    assert solid.status() == manifold3d.Error.NoError, solid.status()
    return solid


def arrays(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3], float), np.array(mesh.tri_verts, np.int64)


def shapes():
    ball = manifold3d.Manifold.sphere(9.0, 24)
    star = trimesh.creation.extrude_polygon(star_outline(), 7.0)
    made = {
        "ball": ball,
        "block": manifold3d.Manifold.cube([14.0, 9.0, 6.0], True),
        "bored ball": ball - manifold3d.Manifold.cylinder(40, 3, 4, 20, True),
        "cone": manifold3d.Manifold.cylinder(11.0, 8.0, 2.0, 17),
        "star": manifold_of(star.vertices, star.faces),
        "ring": manifold3d.Manifold.revolve(
            manifold3d.CrossSection.circle(3.0, 14).translate([7.0, 0.0]), 22),
        "steps": steps(),
        "leaning": manifold3d.Manifold.cube([8.0, 8.0, 12.0], True).rotate([17.0, 31.0, 5.0]),
    }
    return {name: solid.translate([0, 0, -solid.bounding_box()[2]]) for name, solid in made.items()}


def star_outline():
    import shapely
    turns = np.arange(14) / 14 * 2 * np.pi
    radii = np.where(np.arange(14) % 2, 4.0, 9.0)
    return shapely.Polygon(np.stack([radii * np.cos(turns), radii * np.sin(turns)], 1))


def steps():
    """Flat faces at whole heights, which layers are cut at."""
    levels = [manifold3d.Manifold.cube([12.0 - 2 * i, 10.0, 2.0 * (i + 1)]) for i in range(4)]
    return manifold3d.Manifold.batch_boolean(levels, manifold3d.OpType.Add)


# Damage: each takes a solid and yields a case

def as_it_is(solid, rng):
    v, f = arrays(solid)
    return Case("", v, f, solid, sound=True)


def inside_out(solid, rng):
    v, f = arrays(solid)
    return Case("", v, f[:, ::-1], solid)


def some_flipped(solid, rng):
    v, f = arrays(solid)
    chosen = rng.random(len(f)) < 0.3
    chosen[0], chosen[1] = True, False
    return Case("", v, np.where(chosen[:, None], f[:, ::-1], f), solid)


def all_doubled(solid, rng):
    v, f = arrays(solid)
    return Case("", v, np.concatenate([f, f]), solid)


def some_doubled(solid, rng):
    v, f = arrays(solid)
    again = f[rng.random(len(f)) < 0.2] if len(f) > 20 else f[:2]
    return Case("", v, np.concatenate([f, again, f[:1]]), solid, layers=False)


def holes(solid, rng):
    """Facets that share no corner are left out, so that a plane film is what was there."""
    v, f = arrays(solid)
    keep, used = np.ones(len(f), bool), set()
    for i in rng.permutation(len(f)):
        if not used & set(f[i]) and np.sum(~keep) < 4:
            keep[i] = False
            used |= set(f[i])
    return Case("", v, f[keep], solid, layers=False)


def t_junctions(solid, rng):
    v, f = arrays(solid)
    facets, corners = list(map(tuple, f)), list(map(tuple, v))
    for i in rng.choice(len(f), min(5, len(f)), replace=False):
        a, b, c = facets[i]
        corners.append(tuple((np.array(corners[a]) + np.array(corners[b])) / 2))
        m = len(corners) - 1
        facets[i] = (a, m, c)
        facets.append((m, b, c))
    return Case("", np.array(corners), np.array(facets), solid)


def slivers(solid, rng):
    """Sides split very near to their ends, on both of their facets."""
    v, f = arrays(solid)
    mesh = trimesh.Trimesh(v, f, process=False)
    facets, corners = list(map(tuple, f)), list(map(tuple, v))
    touched = set()
    for (a, b), (left, right) in zip(mesh.face_adjacency_edges, mesh.face_adjacency):
        if left in touched or right in touched or rng.random() < 0.6:
            continue
        touched |= {left, right}
        corners.append(tuple(0.999 * np.array(corners[a]) + 0.001 * np.array(corners[b])))
        m = len(corners) - 1
        for face in (left, right):
            old = facets[face]
            facets[face] = tuple(m if c == b else c for c in old)
            facets.append(tuple(m if c == a else c for c in old))
    return Case("", np.array(corners), np.array(facets), solid, sound=True, slack=10.0)


def hair(solid, rng):
    """Slivers far thinner than any printer shows: sides split a hair from their ends, and
    facets with a corner a hair from their side."""
    v, f = arrays(solid)
    mesh = trimesh.Trimesh(v, f, process=False)
    facets, corners = list(map(tuple, f)), [np.array(c) for c in v]
    touched = set()
    for (a, b), (left, right) in zip(mesh.face_adjacency_edges, mesh.face_adjacency):
        if left in touched or right in touched or rng.random() < 0.7:
            continue
        touched |= {left, right}
        m = len(corners)
        if rng.random() < 0.5:
            along = corners[b] - corners[a]
            corners.append(corners[a] + along / np.linalg.norm(along) * 3e-5)
            for face in (left, right):
                old = facets[face]
                facets[face] = tuple(m if c == b else c for c in old)
                facets.append(tuple(m if c == a else c for c in old))
        else:
            p, q, r = facets[left]
            middle = (corners[p] + corners[q]) / 2
            inwards = corners[r] - middle
            corners.append(middle + inwards / np.linalg.norm(inwards) * 3e-5)
            facets[left] = (p, q, m)
            facets += [(q, r, m), (r, p, m)]
    return Case("", np.array(corners), np.array(facets), solid, sound=True, slack=10.0)


def joined(solids):
    v, f, offset = [], [], 0
    for solid in solids:
        vertices, faces = arrays(solid)
        v.append(vertices)
        f.append(faces + offset)
        offset += len(vertices)
    return np.concatenate(v), np.concatenate(f)


def crossing(solid, rng):
    other = solid.rotate(rng.uniform(-40, 40, 3)).translate(rng.uniform(-4, 4, 3))
    v, f = joined([solid, other])
    return Case("", v, f, solid + other)


def many_crossing(solid, rng):
    solids = [solid]
    for _ in range(4):
        block = manifold3d.Manifold.cube(rng.uniform(2, 7, 3), True)
        solids.append(block.rotate(rng.uniform(0, 90, 3)).translate(rng.uniform(-6, 6, 3) + [0, 0, 5]))
    v, f = joined(solids)
    return Case("", v, f, manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add))


def shared_faces(solid, rng):
    """Blocks whose faces lie on each other, all within the shape's own height."""
    a = manifold3d.Manifold.cube([6.0, 6.0, 6.0])
    shift = rng.integers(1, 6, 2)
    b = a.translate([float(shift[0]), 0.0, 0.0])
    c = a.translate([0.0, float(shift[1]), 0.0])
    v, f = joined([a, b, c])
    return Case("", v, f, a + b + c)


def touching(solid, rng):
    a = manifold3d.Manifold.cube([6.0, 6.0, 6.0])
    b = manifold3d.Manifold.cube([4.0, 4.0, 4.0]).translate([6.0, float(rng.integers(0, 3)), 0.0])
    v, f = joined([a, b])
    # Not called wrong: the faces have no corners in common.
    return Case("", v, f, a + b, sound=True)


def nested(solid, rng):
    outer = manifold3d.Manifold.sphere(9.0, 24).translate([0, 0, 9])
    inner = manifold3d.Manifold.cube(rng.uniform(1, 6, 3), True).translate([0, 0, 9])
    v, f = joined([outer, inner])
    return Case("", v, f, outer)


def cavity(solid, rng):
    outer = manifold3d.Manifold.sphere(9.0, 24).translate([0, 0, 9])
    inner = manifold3d.Manifold.cube(rng.uniform(1, 6, 3), True).translate([0, 0, 9])
    v, f = joined([outer])
    w, g = joined([inner])
    return Case("", np.concatenate([v, w]), np.concatenate([f, g[:, ::-1] + len(v)]),
                outer - inner, sound=True, sealed=inner.surface_area())


def far_off(solid, rng):
    case = crossing(solid, rng)
    return Case("", case.vertices + [1e6, -1e6, 0.0], case.faces, case.solid, slack=10.0)


def tiny(solid, rng):
    case = crossing(solid, rng)
    return Case("", case.vertices * 1e-5, case.faces, case.solid, scale=1e-5)


def unwelded(solid, rng):
    """Every facet with corners of its own, off by single precision's rounding, and facets
    without area between them."""
    v, f = arrays(solid)
    corners = v[f.ravel()]
    corners = corners * (1 + rng.uniform(-1, 1, corners.shape) * 2.0 ** -24)
    facets = np.arange(len(corners)).reshape(-1, 3)
    flat = np.stack([facets[:5, 0], facets[:5, 1], facets[:5, 0]], 1)
    return Case("", corners, np.concatenate([facets, flat]), solid, slack=10.0)


def figure_of_eight(solid, rng):
    """A prism whose outline crosses itself: one loop runs the other way."""
    size = rng.uniform(3, 9)
    outline = np.array([(0, 0), (size, size), (size, 0), (0, size)])
    low = np.column_stack([outline, np.zeros(4)])
    high = np.column_stack([outline, np.full(4, 5.0)])
    f = [(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7)]
    for i in range(4):
        j = (i + 1) % 4
        f += [(i, j, j + 4), (i, j + 4, i + 4)]
    middle = (size / 2, size / 2)
    loops = [[(0, 0), middle, (0, size)], [(size, size), middle, (size, 0)]]
    flat = manifold3d.CrossSection(loops, manifold3d.FillRule.NonZero)
    return Case("", np.concatenate([low, high]), np.array(f), manifold3d.Manifold.extrude(flat, 5.0))


def open_top(solid, rng):
    """A wall with no lid: nothing tells its height but its rim, which is level."""
    v, f = arrays(manifold3d.Manifold.cylinder(6.0, 5.0, 4.0, 19))
    lid = np.all(v[f][:, :, 2] > 5.999, axis=1)
    return Case("", v, f[~lid], manifold3d.Manifold.cylinder(6.0, 5.0, 4.0, 19))


DAMAGE = [
    as_it_is, inside_out, some_flipped, all_doubled, some_doubled, holes, t_junctions, slivers, hair,
    crossing, many_crossing, shared_faces, touching, nested, cavity, far_off, tiny, unwelded,
    figure_of_eight, open_top, crossing, many_crossing, crossing, far_off, tiny, unwelded, holes,
]


def cases():
    rng = np.random.default_rng(SEED)
    for damage in DAMAGE:
        for name, solid in shapes().items():
            case = damage(solid, rng)
            case.name = f"{damage.__name__} {name}"
            yield case


def write_ply(path, vertices, faces):
    head = (
        "ply\nformat binary_little_endian 1.0\n"
        f"element vertex {len(vertices)}\nproperty double x\nproperty double y\nproperty double z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.zeros(len(faces), [("count", "u1"), ("corners", "<i4", 3)])
    rows["count"], rows["corners"] = 3, faces
    path.write_bytes(head.encode() + np.asarray(vertices, "<f8").tobytes() + rows.tobytes())


def read_ply(path):
    """What Tintfall writes, corner by corner, nothing merged."""
    head, body = path.read_bytes().split(b"end_header\n", 1)
    counts = [int(line.split()[2]) for line in head.splitlines() if line.startswith(b"element")]
    size = 24 * counts[0]
    rows = np.frombuffer(body[size:], [("count", "u1"), ("corners", "<u4", 3)])
    return np.frombuffer(body[:size], "<f8").reshape(-1, 3), rows["corners"].astype(np.int64)


# Checks

def checks(tools):
    folder = tools.folder / "damaged"
    folder.mkdir(exist_ok=True)
    area, perimeter, told, mended, winding, agree = [], [], [], [], [], []
    silent, needless, status, hairs, sealed = [], [], [], [], []
    with ThreadPoolExecutor(2) as pool:
        answers = pool.map(lambda numbered: ask(tools, folder, *numbered), enumerate(cases()))
        for case, seen, layers, out, complaint in answers:
            truth = case.solid.volume() * case.scale ** 3
            is_right = abs(signed_volume(case) / truth - 1) < RELATIVE
            said = not seen["sound"]
            if not is_right and not said:
                silent.append(case.name)
            if case.sound and said:
                needless.append(case.name)
            told_sealed = seen["mesh"]["sealed_mm2"]
            if case.sealed:
                sealed.append((abs(told_sealed / case.sealed - 1), case.name))
            elif told_sealed and case.sound:
                sealed.append((1.0, case.name))
            volume = seen["mesh"]["volume_mm3"]
            if case.layers:
                told.append((abs(volume / truth - 1), case.name))
            total = sum(layer["volume_mm3"] for layer in layers)
            agree.append((abs(total / volume - 1), case.name))
            if case.layers:
                compare_layers(case, layers, area, perimeter)
            if out is None:
                status.append(f"{case.name}: {complaint}")
                continue
            v, f = out
            solid = manifold3d.Manifold(manifold3d.Mesh64(v - v.mean(0), f.astype(np.uint64)))
            if solid.status() != manifold3d.Error.NoError:
                status.append(f"{case.name}: {solid.status()}")
                continue
            mended.append((abs(solid.volume() / truth - 1) / case.slack, case.name))
            winding.append((turns_differ(case, v, f), case.name))
            if case.name.startswith("hair"):
                hairs.append((case.slivers[1] if case.slivers[0] else np.inf, case.name))
    count = len(agree)
    assert count >= 200, count
    for what, names in [("silent", silent), ("needless", needless), ("not mended", status)]:
        for name in names:
            print(f"       {what}: {name}")
    yield Check("wrong meshes that nothing is told of", "the seeded damage", len(silent), 0, count)
    yield Check("sound meshes that are called wrong", "the seeded damage", len(needless), 0, count)
    yield Check("mended meshes that are no manifold", "manifold3d status", len(status), 0, count)
    yield Check("volume after mending", "manifold3d union", *spread(mended))
    yield Check("points in one solid and not in the other", "libigl winding numbers", *spread(winding, 0))
    yield Check("slivers left after mending", "the seeded damage", *spread(hairs, 0))
    yield Check("skin of sealed cavities", "manifold3d", *spread(sealed))
    yield Check("area of each layer, unmended", "manifold3d slice of the union", *spread(area))
    yield Check("perimeter of each layer, unmended", "manifold3d slice of the union", *spread(perimeter))
    yield Check("volume told of the mesh as it is", "manifold3d union", *spread(told, 5e-3))
    yield Check("volume told beside that of twelve layers", "each other", *spread(agree, 5e-2))


def spread(errors, allowed=RELATIVE):
    worst, name = max(errors, default=(np.inf, ""))
    if worst > allowed:
        print(f"       worst: {name}")
    return (worst, allowed, len(errors))


def ask(tools, folder, number, case):
    path = folder / f"{number:03}.ply"
    write_ply(path, case.vertices, case.faces)
    low, high = case.vertices[:, 2].min(), case.vertices[:, 2].max()
    layer = (high - low) / LAYERS
    seen = tools.tintfall("inspect", path)
    layers = tools.tintfall("layers", path, "--first", layer, "--layer", layer)["layers"]
    out = folder / f"{number:03}-mended.ply"
    command = [tools.built / "tintfall", "mend", path, "--out", out]
    done = subprocess.run(list(map(str, command)), capture_output=True, text=True)
    mesh = read_ply(out) if done.returncode == 0 else None
    if mesh and case.name.startswith("hair"):
        after = tools.tintfall("inspect", out)["mesh"]
        left = after["slivers"]["count"] + after["empty_facets"]["count"]
        case.slivers = (seen["mesh"]["slivers"]["count"], left)
    return case, seen, layers, mesh, done.stderr.strip()


def signed_volume(case):
    corners = (case.vertices - case.vertices.mean(0))[case.faces]
    return np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6


def compare_layers(case, layers, area, perimeter):
    box = case.solid.bounding_box()
    low = box[2]
    mean = case.solid.volume() / (box[5] - box[2])
    for layer in layers:
        middle = 0.5 * (layer["bottom_mm"] + layer["top_mm"]) / case.scale + low
        # A face exactly at the height counts to what lies beneath.
        flat = case.solid.slice(middle - 1e-9 * (box[5] - box[2]))
        length = sum(
            np.linalg.norm(np.roll(ring, -1, 0) - ring, axis=1).sum() for ring in flat.to_polygons()
        )
        drawn = layer["area_mm2"] / case.scale ** 2
        area.append((abs(drawn - flat.area()) / max(flat.area(), mean) / case.slack, case.name))
        outline = max(length, np.sqrt(mean))
        drawn = layer["perimeter_mm"] / case.scale
        perimeter.append((abs(drawn - length) / outline / case.slack, case.name))


def turns_differ(case, v, f):
    """How many of some points lie in one solid and not in the other, by libigl's generalized
    winding number (Jacobson, Kavan and Sorkine-Hornung 2013)."""
    low, high = v.min(0), v.max(0)
    points = np.random.default_rng(SEED).uniform(low, high, (POINTS, 3))
    middle = v.mean(0)
    ours = np.round(igl.winding_number(v - middle, f.astype(np.int32), points - middle))
    w, g = arrays(case.solid)
    w = w * case.scale
    shift = middle - (case.vertices.mean(0) - true_middle(case))
    truth = np.round(igl.winding_number(w, g.astype(np.int32), points - middle + shift))
    return int(np.sum((ours != 0) != (truth != 0)))


def true_middle(case):
    """Where the mean of the mesh's corners would lie if it were not moved far off."""
    return case.vertices.mean(0) - ([1e6, -1e6, 0.0] if "far_off" in case.name else [0, 0, 0])
