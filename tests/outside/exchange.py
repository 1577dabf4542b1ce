"""Hand-offs in open formats, against lib3mf, trimesh and the Khronos glTF validator.

lib3mf is the 3MF Consortium's own implementation; it reads in strict mode. The validator is the
Khronos Group's, from npm, in target/node (see .ci/run). What each part of the lighthouse must be
stands in its plan, in demo-models/plans.
"""

import json
import subprocess

import lib3mf
import numpy as np
import trimesh

from tools import ROOT, Check

# Heights and shares of the lighthouse's bands of one blend, as its plan has them.
BANDS = [
    (36.0, 48.0, [0.0, 1.0, 0.0]),
    (60.0, 72.0, [0.0, 1.0, 0.0]),
    (88.0, 100.0, [0.55, 0.0, 0.45]),
    (100.0, 112.0, [0.0, 0.8, 0.2]),
]


def checks(tools):
    for plan in sorted(tools.demos().glob("*.plan.ron")):
        name = plan.name.removesuffix(".plan.ron")
        folder = tools.folder / f"handoff-{name}"
        tools.tintfall("handoff", plan, "--out", folder)
        mesh = trimesh.load(plan.with_name(f"{name}.stl"))
        yield from three_mf(name, folder / "part.3mf", mesh)
        yield from gltf(name, folder / "part.glb", mesh)
        yield from ply(name, folder / "part.ply", mesh)


def three_mf(name, path, mesh):
    wrapper = lib3mf.get_wrapper() if hasattr(lib3mf, "get_wrapper") else lib3mf.Wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    source = "lib3mf, strict mode"
    yield Check(f"{name}.3mf: warnings", source, reader.GetWarningCount(), 0, 1)
    meshes = model.GetMeshObjects()
    meshes.MoveNext()
    part = meshes.GetCurrentMeshObject()
    closed = part.IsManifoldAndOriented()
    yield Check(f"{name}.3mf: closed and facing outwards", source, not closed, 0, 1)

    vertices = np.array([list(v.Coordinates) for v in part.GetVertices()], float)
    faces = np.array([list(t.Indices) for t in part.GetTriangleIndices()])
    read = trimesh.Trimesh(vertices, faces, process=False)
    off = abs(read.volume / mesh.volume - 1)
    yield Check(f"{name}.3mf: volume", "lib3mf, trimesh", off, 1e-4, 1)

    shares, of_triangle = composites(model, part)
    sums = np.abs(shares.sum(axis=1) - 1)
    yield Check(f"{name}.3mf: shares add up to 1", source, sums.max(), 1e-6, len(sums))
    if name == "lighthouse":
        middle = read.triangles_center[:, 2]
        worst, count = 0.0, 0
        for low, high, wanted in BANDS:
            inside = (middle > low) & (middle < high)
            found = shares[of_triangle[inside]]
            worst = max(worst, np.abs(found - wanted).max())
            count += inside.sum()
        yield Check("lighthouse.3mf: shares of its bands", source, worst, 1e-6, int(count))
        heights = read.triangles[:, :, 2]
        edges = sorted({edge for low, high, _ in BANDS for edge in (low, high)})
        across = [((heights.min(1) < e - 1e-3) & (heights.max(1) > e + 1e-3)).sum() for e in edges]
        yield Check("lighthouse.3mf: triangles across a band's edge", source, sum(across), 0, len(faces))
    if name == "lamp-shade":
        # One fade from the second spool to the first: the more of the first, the higher.
        order = np.argsort(read.triangles_center[:, 2])
        first = shares[of_triangle[order], 0]
        back = np.maximum.accumulate(first) - first
        yield Check("lamp-shade.3mf: the fade never turns back", source, back.max(), 1e-6, len(first))
        # The first and last steps have the blend of their middle.
        yield Check("lamp-shade.3mf: its ends", source, abs(first.max() - first.min() - 1), 0.1, 2)


def composites(model, part):
    """Shares of each blend, and the blend of each triangle."""
    groups = model.GetMultiPropertyGroups()
    groups.MoveNext()
    group = groups.GetCurrentMultiPropertyGroup()
    materials = model.GetCompositeMaterials()
    materials.MoveNext()
    blends = materials.GetCurrentCompositeMaterials()
    bases = list(blends.GetBaseMaterialGroup().GetAllPropertyIDs())
    row, shares = {}, []
    # These two calls want room for their answer beforehand.
    room = [lib3mf.CompositeConstituent() for _ in bases]
    for number in blends.GetAllPropertyIDs():
        parts = {c.PropertyID: c.MixingRatio for c in blends.GetComposite(number, room)}
        row[number] = len(shares)
        shares.append([parts.get(base, 0.0) for base in bases])
    of_multi = {}
    for number in group.GetAllPropertyIDs():
        of_multi[number] = row[group.GetMultiProperty(number, [0, 0])[0]]
    tags = part.GetAllTriangleProperties()
    assert all(tag.ResourceID == group.GetResourceID() for tag in tags)
    return np.array(shares), np.array([of_multi[tag.PropertyIDs[0]] for tag in tags])


def gltf(name, path, mesh):
    program = (
        "const v = require('gltf-validator'), fs = require('fs');"
        "v.validateBytes(new Uint8Array(fs.readFileSync(process.argv[1])))"
        ".then((r) => console.log(JSON.stringify(r.issues)));"
    )
    done = subprocess.run(
        ["node", "-e", program, path], cwd=ROOT / "target" / "node",
        check=True, capture_output=True, text=True,
    )
    issues = json.loads(done.stdout)
    found = issues["numErrors"] + issues["numWarnings"]
    yield Check(f"{name}.glb: errors and warnings", "Khronos glTF validator", found, 0, 1)
    part = trimesh.load(path, force="mesh", process=False)
    off = abs(part.volume * 1e9 / mesh.volume - 1)
    yield Check(f"{name}.glb: volume", "trimesh", off, 1e-4, 1)
    height = part.extents[1] * 1e3 - mesh.extents[2]
    yield Check(f"{name}.glb: y is up, in metres", "trimesh", abs(height), 1e-3, 1)


def ply(name, path, mesh):
    part = trimesh.load(path, process=False)
    off = abs(part.volume / mesh.volume - 1)
    yield Check(f"{name}.ply: volume", "trimesh", off, 1e-4, 1)
    colours = len(np.unique(part.visual.vertex_colors[:, :3], axis=0))
    yield Check(f"{name}.ply: has colours", "trimesh", colours < 2, 0, colours)
