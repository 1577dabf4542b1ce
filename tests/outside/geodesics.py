"""Distances along the skin, against libigl's exact geodesics.

libigl carries an implementation of the exact method of Mitchell, Mount and Papadimitriou that
shares no code with ours. The meshes are made or spoilt by a seeded script: unions that leave
slivers, long thin facets, saddles, sides split next to their ends, open skins with rims. All
vertices are compared, from two places on each mesh. On some slivers libigl runs out of memory or
does not end; it is given a process, a gigabyte and ten seconds for each, and such meshes, which
are counted, can't be compared.
"""

import json
import multiprocessing
import resource
import subprocess

import igl
import manifold3d
import numpy as np
import trimesh

from tools import Check

# Half a part in a hundred of the distance; next to a source, of the length of the shortest
# distances that matter.
RELATIVE = 5e-3
LEAST_MM = 1e-3


def checks(tools):
    random = np.random.default_rng(20)
    worst = {"closed": [], "thin": [], "open": []}
    asked = lost = 0
    for kind, mesh in meshes(random):
        vertices = np.asarray(mesh.vertices, float)
        faces = np.asarray(mesh.faces, np.int64)
        used = np.unique(faces)
        sources = random.choice(used, 2, replace=False)
        for source, found in zip(sources, distances(tools, vertices, faces, sources)):
            asked += 1
            exact = exact_distances(vertices, faces, source, used)
            if exact is None:
                lost += 1
                continue
            found = np.asarray(found, float)[used]
            reached = np.isfinite(exact) & (exact < 1e9)
            error = np.abs(found - exact)[reached] / np.maximum(exact[reached], LEAST_MM)
            worst[kind].extend(error)
    source = f"libigl exact_geodesic; {lost} of {asked} it could not do"
    yield Check("distances along closed skins", source, *spread(worst["closed"]))
    yield Check("distances along skins of slivers", source, *spread(worst["thin"]))
    yield Check("distances along open skins, round their rims", source, *spread(worst["open"]))


def exact_distances(vertices, faces, source, targets):
    """libigl's distances, or None where it fails."""
    context = multiprocessing.get_context("fork")
    ours, theirs = context.Pipe(duplex=False)
    child = context.Process(target=ask_libigl, args=(theirs, vertices, faces, source, targets))
    child.start()
    theirs.close()
    try:
        answer = ours.recv() if ours.poll(10.0) else None
    except EOFError:
        answer = None
    child.kill()
    child.join()
    return answer


def ask_libigl(pipe, vertices, faces, source, targets):
    spare = 1 << 30
    used = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used + spare, used + spare))
    none = np.array([], np.int64)
    try:
        found = igl.exact_geodesic(vertices, faces, np.array([source]), none, targets, none)
    except MemoryError:
        return  # The pipe closes without an answer.
    pipe.send(np.asarray(found).reshape(-1))


def spread(errors):
    return (max(errors, default=np.inf), RELATIVE, len(errors))


def distances(tools, vertices, faces, sources):
    question = {"vertices": vertices.tolist(), "triangles": faces.tolist(),
                "sources": vertices[sources].tolist()}
    program = tools.built / "examples" / "skin_distances"
    done = subprocess.run([program], input=json.dumps(question), check=True,
                          capture_output=True, text=True)
    # What is not reached is infinite, which JSON writes as null.
    return [[np.inf if d is None else d for d in one] for one in json.loads(done.stdout)]


def meshes(random):
    yield "closed", trimesh.creation.icosphere(3, 15.0)
    yield "closed", trimesh.creation.torus(18.0, 6.0, 48, 24)
    yield "closed", trimesh.creation.box((30, 20, 10))
    yield "thin", trimesh.creation.cylinder(20.0, 200.0, sections=120)
    yield "thin", trimesh.creation.cone(12.0, 60.0, sections=90)
    yield "thin", trimesh.creation.annulus(8.0, 14.0, 1.5, sections=150)
    for i in range(12):
        yield "thin", united(random)
    for times in (20, 80, 200, 400):
        yield "thin", split(trimesh.creation.box((30, 20, 10)), times, 1e-2, random)
        yield "thin", split(trimesh.creation.icosphere(1, 15.0), times, 1e-2, random)
        yield "thin", split(trimesh.creation.icosphere(2, 15.0), times, 0.1, random)
        yield "thin", split(united(random), times, 1e-2, random)
    for turns in (0.3, 1.0, 2.0):
        yield "thin", twisted(24, turns)
        yield "closed", trimesh.Trimesh(*roughened(3, turns, random), process=False)
    for i in range(8):
        ball = trimesh.creation.icosphere(3, 15.0)
        kept = np.abs(ball.triangles_center[:, i % 3]) > 2.0 + i
        if i % 2:
            kept = ~kept
        part = largest(ball.submesh([kept], append=True))
        yield "open", split(part, 60 * (i % 3), 1e-2, random)


def largest(mesh):
    return max(mesh.split(only_watertight=False), key=lambda part: len(part.faces))


def united(random):
    """Boxes, balls and rods, united and bored: what is left along their seams is thin."""
    solid = manifold3d.Manifold.cube([30, 20, 10], True)
    for _ in range(4):
        at, turn = random.uniform(-10, 10, 3), random.uniform(0, 90, 3)
        shapes = [
            manifold3d.Manifold.sphere(random.uniform(3, 7), 24),
            manifold3d.Manifold.cylinder(40, random.uniform(1, 4), -1, 32, True),
            manifold3d.Manifold.cube([12, 9, 14], True),
        ]
        shape = shapes[random.integers(3)].rotate(turn.tolist()).translate(at.tolist())
        solid = solid + shape if random.random() < 0.6 else solid - shape
    mesh = solid.to_mesh64()
    return largest(trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False))


def split(mesh, times, nearest, random):
    """Sides split next to their ends, with the facets on them: the shape stays what it was."""
    vertices = [np.asarray(v, float) for v in mesh.vertices]
    faces = [tuple(int(v) for v in f) for f in mesh.faces]
    for _ in range(times):
        face = faces[random.integers(len(faces))]
        side = random.integers(3)
        a, b = face[side], face[(side + 1) % 3]
        share = 0.5 * nearest ** random.random()
        middle = len(vertices)
        vertices.append(vertices[a] + (vertices[b] - vertices[a]) * share)
        new = []
        for f in faces:
            if a in f and b in f:
                new.append(tuple(middle if v == b else v for v in f))
                new.append(tuple(middle if v == a else v for v in f))
            else:
                new.append(f)
        faces = new
    return trimesh.Trimesh(np.array(vertices), np.array(faces), process=False)


def twisted(sections, turns):
    """A star turned about its axis as it rises, in one ring of long facets."""
    angle = np.linspace(0, 2 * np.pi, sections, endpoint=False)
    radius = 15 + 4 * np.cos(5 * angle)
    rings = [np.column_stack([radius * np.cos(angle + t), radius * np.sin(angle + t),
                              np.full(sections, z)])
             for t, z in ((0.0, 0.0), (turns, 60.0))]
    vertices = np.vstack([*rings, [[0, 0, 0], [0, 0, 60.0]]])
    i, j = np.arange(sections), (np.arange(sections) + 1) % sections
    low, high = np.full(sections, 2 * sections), np.full(sections, 2 * sections + 1)
    faces = np.vstack([
        np.column_stack([i, j, j + sections]), np.column_stack([i, j + sections, i + sections]),
        np.column_stack([low, j, i]), np.column_stack([high, i + sections, j + sections]),
    ])
    return trimesh.Trimesh(vertices, faces, process=False)


def roughened(subdivisions, by, random):
    """A ball whose corners are moved in and out at random: saddles everywhere."""
    ball = trimesh.creation.icosphere(subdivisions, 15.0)
    scale = 1 + 0.03 * by * random.standard_normal(len(ball.vertices))
    return ball.vertices * scale[:, None], ball.faces
