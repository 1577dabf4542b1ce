"""Meshes that other people drew and scanned, against trimesh, manifold3d and libigl.

They are the examples in the wheel of pyvista (MIT), which is installed without what it needs,
for nothing of it is run: a nut, an insect of fifteen shells that cross, a scanned ball, and an
aeroplane that is open everywhere. What closed shells must come to is their union by manifold3d.
"""

import importlib.util
import subprocess
from pathlib import Path

import manifold3d
import numpy as np
import trimesh

import geodesics
import meshes
from tools import Check

CLOSED = ["nut", "ant", "sphere"]
OPEN = ["airplane"]
SOURCES = 4


def folder():
    return Path(importlib.util.find_spec("pyvista").origin).parent / "examples"


def checks(tools):
    size, area, perimeter, told, mended, status, silent = [], [], [], [], [], [], []
    distances = []
    random = np.random.default_rng(7)
    for name in CLOSED + OPEN:
        path = folder() / f"{name}.ply"
        mesh = trimesh.load(path, process=False)
        seen = tools.tintfall("inspect", path)
        size.append(abs(len(mesh.faces) - seen["mesh"]["facets"]))
        size.append(abs(seen["mesh"]["area_mm2"] / mesh.area - 1))
        out = tools.folder / f"{name}-mended.ply"
        command = [tools.built / "tintfall", "mend", path, "--out", out]
        done = subprocess.run(list(map(str, command)), capture_output=True, text=True)
        if done.returncode == 0:
            solid = solid_of(*meshes.read_ply(out))
            if solid.status() != manifold3d.Error.NoError:
                status.append(f"{name}: {solid.status()}")
        elif name in CLOSED or "mend" not in done.stderr:
            status.append(f"{name}: {done.stderr.strip()}")
        if name in OPEN:
            if seen["sound"]:
                silent.append(name)
            continue
        union = united(mesh)
        if seen["sound"] != (abs(mesh.volume / union.volume() - 1) < 1e-6):
            silent.append(name)
        told.append((abs(seen["mesh"]["volume_mm3"] / union.volume() - 1), name))
        mended.append((abs(solid.volume() / union.volume() - 1), name))
        compare_layers(tools, path, name, union, area, perimeter)
        distances += compare_distances(tools, mesh, random)
    for what, names in [("not mended", status), ("silent", silent)]:
        for name in names:
            print(f"       {what}: {name}")
    count = len(CLOSED + OPEN)
    yield Check("facets and areas", "trimesh", *spread([(s, "") for s in size]))
    yield Check("meshes called sound that are not, or the other way", "manifold3d union",
                len(silent), 0, count)
    yield Check("volume told of the mesh as it is", "manifold3d union", *spread(told, 5e-3))
    yield Check("area of each layer, unmended", "manifold3d slice of the union", *spread(area))
    yield Check("perimeter of each layer, unmended", "manifold3d slice of the union",
                *spread(perimeter))
    yield Check("mended meshes that are no manifold", "manifold3d status", len(status), 0, count)
    yield Check("volume after mending", "manifold3d union", *spread(mended))
    yield Check("distances along the skin", "libigl exact_geodesic", max(distances, default=np.inf),
                geodesics.RELATIVE, len(distances))


def spread(errors, allowed=1e-6):
    return meshes.spread(errors, allowed)


def solid_of(vertices, faces):
    return manifold3d.Manifold(manifold3d.Mesh64(
        np.array(vertices, float), np.array(faces, np.uint64)))


def united(mesh):
    parts = mesh.split(only_watertight=False)
    solids = [solid_of(part.vertices, part.faces) for part in parts]
    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)


def compare_layers(tools, path, name, union, area, perimeter):
    box = union.bounding_box()
    height = box[5] - box[2]
    step = height / 23
    layers = tools.tintfall("layers", path, "--first", step, "--layer", step)["layers"]
    mean = union.volume() / height
    for layer in layers:
        middle = 0.5 * (layer["bottom_mm"] + layer["top_mm"]) + box[2]
        flat = union.slice(middle)
        length = sum(np.linalg.norm(np.roll(ring, -1, 0) - ring, axis=1).sum()
                     for ring in flat.to_polygons())
        area.append((abs(layer["area_mm2"] - flat.area()) / max(flat.area(), mean), name))
        least = max(length, np.sqrt(mean))
        perimeter.append((abs(layer["perimeter_mm"] - length) / least, name))


def compare_distances(tools, mesh, random):
    """Of each mesh's largest shell, from a few of its vertices to all."""
    part = geodesics.largest(mesh)
    vertices, faces = np.asarray(part.vertices, float), np.asarray(part.faces, np.int64)
    used = np.unique(faces)
    sources = random.choice(used, SOURCES, replace=False)
    errors = []
    for source, found in zip(sources, geodesics.distances(tools, vertices, faces, sources)):
        exact = geodesics.exact_distances(vertices, faces, source, used)
        if exact is not None:
            far = np.maximum(exact, geodesics.LEAST_MM)
            errors.extend(np.abs(np.asarray(found, float)[used] - exact) / far)
    return errors
