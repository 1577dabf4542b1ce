"""Areas, volumes and soundness of meshes, against trimesh and manifold3d.

Both libraries work in double precision. The demonstration parts and shapes that trimesh and
manifold3d make themselves are cut at the heights that Tintfall names.
"""

import manifold3d
import numpy as np
import trimesh

from tools import Check

RELATIVE = 1e-6


def checks(tools):
    parts = dict(demo_parts(tools)) | dict(made_parts(tools))
    worst = {"area": [], "perimeter": [], "volume": [], "skin": []}
    whole = {"volume": [], "area": []}
    for path, mesh in parts.items():
        compare_layers(tools.tintfall("layers", path)["layers"], mesh, worst)
        compare_whole(tools.tintfall("inspect", path)["mesh"], mesh, whole)
    yield Check("area of each layer's cut", "manifold3d slice", *spread(worst["area"]))
    yield Check("perimeter of each layer's cut", "trimesh section", *spread(worst["perimeter"]))
    yield Check("volume of each layer", "manifold3d trim_by_plane", *spread(worst["volume"]))
    yield Check("skin area of each layer", "trimesh slice_plane", *spread(worst["skin"]))
    yield Check("volume of each part", "trimesh", *spread(whole["volume"]))
    yield Check("area of each part", "trimesh", *spread(whole["area"]))


def spread(errors):
    return (max(errors, default=np.inf), RELATIVE, len(errors))


def demo_parts(tools):
    for path in sorted(tools.demos().rglob("*.stl")):
        yield path, trimesh.load(path)


def made_parts(tools):
    hollow = manifold3d.Manifold.sphere(20, 96) - manifold3d.Manifold.cylinder(60, 7, 9, 64, True)
    solid = hollow.to_mesh64()
    shapes = {
        "icosphere": trimesh.creation.icosphere(4, 15.0),
        "torus": trimesh.creation.torus(18.0, 6.0, 96, 48),
        "ring": trimesh.creation.annulus(8.0, 14.0, 12.5),
        "capsule": trimesh.creation.capsule(25.0, 7.0),
        "cone": trimesh.creation.cone(12.0, 30.0),
        "bored-ball": trimesh.Trimesh(solid.vert_properties[:, :3], solid.tri_verts),
    }
    for name, shape in shapes.items():
        shape.apply_translation([0, 0, -shape.bounds[0][2]])
        path = tools.folder / f"{name}.stl"
        shape.export(path)
        yield path, trimesh.load(path)


def compare_layers(layers, mesh, worst):
    # Tintfall stands parts on the bed and centres them; areas and volumes do not feel x and y.
    mesh.apply_translation([0, 0, -mesh.bounds[0][2]])
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.uint64))
    )
    mean_volume = mesh.volume / len(layers)
    for layer in layers[:: max(1, len(layers) // 60)]:
        low, high = layer["bottom_mm"], layer["top_mm"]
        middle = 0.5 * (low + high)
        area = solid.slice(middle).area()
        if area > 1e-6:
            worst["area"].append(abs(layer["area_mm2"] / area - 1))
            section = mesh.section([0, 0, 1], [0, 0, middle])
            worst["perimeter"].append(abs(layer["perimeter_mm"] / section.length - 1))
        slab = solid.trim_by_plane([0, 0, 1], low).trim_by_plane([0, 0, -1], -high)
        # A sliver of a layer at a tip is compared with the mean layer, not with itself.
        scale = max(slab.volume(), 1e-3 * mean_volume)
        worst["volume"].append(abs(layer["volume_mm3"] - slab.volume()) / scale)
        skin = mesh.slice_plane([0, 0, low], [0, 0, 1]).slice_plane([0, 0, high], [0, 0, -1])
        if skin.area > 1e-6:
            worst["skin"].append(abs(layer["skin_mm2"] / skin.area - 1))


def compare_whole(inspection, mesh, whole):
    whole["volume"].append(abs(inspection["volume_mm3"] / mesh.volume - 1))
    whole["area"].append(abs(inspection["area_mm2"] / mesh.area - 1))
