"""One task by one other library: `peers.py LIBRARY TASK MESH.stl [COUNT]`.

Prints one JSON object, as `ours.rs` does for Tintfall: the seconds of the fastest of several
runs, the greatest memory of the process, and a result to compare. The tasks are those of
`ours.rs`. What a library needs before it can answer (its mesh, its search tree) is made before
the clock starts, as for Tintfall.
"""

import json
import math
import resource
import sys
import time

import numpy as np

# The least and greatest time given to one task.
LEAST_RUNS, LEAST_S, MOST_S = 3, 2.0, 20.0


def fastest(work):
    """Seconds of the fastest of several runs, and what the last one gave."""
    begun, best, runs = time.perf_counter(), math.inf, 0
    while True:
        start = time.perf_counter()
        result = work()
        best, runs = min(best, time.perf_counter() - start), runs + 1
        spent = time.perf_counter() - begun
        if (runs >= LEAST_RUNS and spent > LEAST_S) or spent > MOST_S:
            return best, float(result)


def heights(low, high, count):
    """Middles of equal layers."""
    return low + (high - low) * (np.arange(count) + 0.5) / count


def spiral(low, high, count):
    """Points about a mesh, a tenth of its size off."""
    i = np.arange(count)
    z = 1 - (2 * i + 1) / count
    angle, r = 2.399963 * i, np.sqrt(1 - z * z)
    directions = np.column_stack([r * np.cos(angle), r * np.sin(angle), z])
    return (low + high) / 2 + 0.55 * (high - low).max() * directions


def picture(low, high, side):
    """Origins of the rays of a picture along +x, row by row."""
    middle = (np.arange(side) + 0.5) / side
    y, z = (low[axis] + (high[axis] - low[axis]) * middle for axis in (1, 2))
    y, z = np.meshgrid(y, z)
    return np.column_stack([np.full(side * side, low[0] - 10), y.ravel(), z.ravel()])


def with_bytes(task, path, _count):
    assert task == "load"
    return fastest(lambda: len(open(path, "rb").read()))


def with_numpy_stl(task, path, _count):
    from stl import Mesh, Mode

    assert task == "load"
    return fastest(lambda: len(Mesh.from_file(path, mode=Mode.BINARY, calculate_normals=False).vectors))


def with_trimesh(task, path, count):
    import trimesh

    if task == "load":
        return fastest(lambda: len(trimesh.load_mesh(path).vertices))
    mesh = trimesh.load_mesh(path)
    low, high = mesh.bounds
    if task == "slice":
        levels = heights(low[2], high[2], count)
        cut = lambda: mesh.section_multiplane([0, 0, 0], [0, 0, 1], levels)
        return fastest(lambda: sum(section.area for section in cut() if section))
    if task == "nearest":
        from trimesh.proximity import closest_point

        points = spiral(low, high, count)
        return fastest(lambda: closest_point(mesh, points)[1].sum())


def with_libigl(task, path, count):
    import igl

    def load():
        v, f = igl.readSTL(path)[:2]
        found = igl.remove_duplicate_vertices(v, f, 0.0)
        return found[0], found[-1]

    if task == "load":
        return fastest(lambda: len(load()[0]))
    v, f = load()
    tree = igl.AABB()
    if task == "tree":
        def built():
            igl.AABB().init(v, f)
            return len(f)

        return fastest(built)
    if task == "nearest":
        tree.init(v, f)
        points = spiral(v.min(0), v.max(0), count)
        return fastest(lambda: np.sqrt(tree.squared_distance(v, f, points)[0]).sum())


def bands(solid, low, high, count):
    """Bodies between level planes, cut off one by one from below."""
    total = 0.0
    for i in range(1, count):
        solid, below = solid.split_by_plane([0.0, 0.0, 1.0], low + (high - low) * i / count)
        total += i * below.volume()
        below.to_mesh64()
    solid.to_mesh64()
    return total + count * solid.volume()


def with_manifold3d(task, path, count):
    import manifold3d
    import trimesh

    mesh = trimesh.load_mesh(path)
    solid = manifold3d.Manifold(manifold3d.Mesh64(
        np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.uint64)))
    if task == "bands":
        low, high = mesh.bounds[0][2], mesh.bounds[1][2]
        return fastest(lambda: bands(solid, low, high, count))
    assert task == "slice"
    levels = heights(mesh.bounds[0][2], mesh.bounds[1][2], count)
    # It has no call for many levels at once.
    return fastest(lambda: sum(solid.slice(z).area() for z in levels))


def with_vtk(task, path, count):
    import vtk
    from vtk.util.numpy_support import vtk_to_numpy

    reader = vtk.vtkSTLReader()
    reader.SetFileName(path)
    reader.Update()
    mesh = reader.GetOutput()
    low, high = np.array(mesh.GetBounds())[4:]

    def areas():
        plane = vtk.vtkPlane()
        plane.SetNormal(0, 0, 1)
        cutter = vtk.vtkCutter()
        cutter.SetCutFunction(plane)
        cutter.SetInputData(mesh)
        for i, z in enumerate(heights(low, high, count)):
            cutter.SetValue(i, z)
        cutter.Update()
        lines = cutter.GetOutput()
        ends = vtk_to_numpy(lines.GetLines().GetConnectivityArray()).reshape(-1, 2)
        a, b = (vtk_to_numpy(lines.GetPoints().GetData()).astype(float)[ends[:, i]] for i in (0, 1))
        # The lines run any way round; for a ball it is enough to take each from its middle.
        return 0.5 * np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()

    assert task == "slice"
    return fastest(areas)


def with_embree(task, path, side):
    import trimesh
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh

    mesh = trimesh.load_mesh(path)
    corners = mesh.triangles.astype(np.float32)
    origins = picture(*mesh.bounds, side or 1).astype(np.float32)
    directions = np.tile(np.float32([1, 0, 0]), (len(origins), 1))
    if task == "tree":
        def built():
            # The first ray has the tree built.
            scene = rtcore_scene.EmbreeScene()
            shape = TriangleMesh(scene, corners)
            scene.run(origins[:1], directions[:1])
            return len(corners)

        return fastest(built)
    assert task == "rays"
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, corners)
    return fastest(lambda: (scene.run(origins, directions) >= 0).sum())


LIBRARIES = {
    "bytes": with_bytes, "numpy-stl": with_numpy_stl, "trimesh": with_trimesh, "libigl": with_libigl,
    "manifold3d": with_manifold3d, "vtk": with_vtk, "embreex": with_embree,
}


def main():
    library, task, path, *count = sys.argv[1:]
    seconds, result = LIBRARIES[library](task, path, int(count[0]) if count else 0)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "peak_mb": peak_mb, "result": result}))


if __name__ == "__main__":
    main()
