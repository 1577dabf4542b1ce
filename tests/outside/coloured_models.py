"""Colours of model files and the blends chosen for them, against trimesh, lib3mf, scikit-learn and colour-science.

trimesh and lib3mf make the models and say what each point's colour is; NumPy counts. The blends are
those of `tintfall new --colours`, beside k-means clusters taken to their nearest blends, beside
k-medoids, and beside every pair of blends.
"""

import itertools
import subprocess

import colour
import lib3mf
import numpy as np
import trimesh
from PIL import Image
from sklearn.cluster import KMeans

from tools import Check

SEED = 20261129
# As near as an 8-bit colour can be.
CODE = 1 / 255 + 1e-9
POINTS = 400
BLOCK = 32

SPOOLS = """(version: 1, spools: [
    (name: "One", colour: Hex("%s")), (name: "Two", colour: Hex("%s")), (name: "Three", colour: Hex("%s")),
])
"""


def checks(tools):
    random = np.random.default_rng(SEED)
    yield from textures(tools, random)
    yield from vertices(tools, random)
    yield from faces(tools, random)
    yield from nodes(tools, random)
    yield from of_3mf(tools, random)
    yield from regions(tools, random)
    yield from palettes(tools, random)


def asked(tools, path, points):
    """What Tintfall says of the colours at points of a file, 0 to 1."""
    lines = "\n".join(" ".join(repr(float(value)) for value in point) for point in points)
    program = tools.built / "examples" / "model_probe"
    done = subprocess.run([program, path], input=lines, check=True, capture_output=True, text=True)
    rows = [line.split() for line in done.stdout.splitlines()]
    return np.array([[np.nan] * 3 if row == ["none"] else [int(v) / 255 for v in row] for row in rows])


def worst(found, wanted):
    assert found.shape == wanted.shape, (found.shape, wanted.shape)
    off = np.abs(found - wanted).max()
    return np.inf if np.isnan(off) else float(off)


def from_gltf(points):
    """A glTF file's places as Tintfall reads them: its y axis points up, and metres are mm."""
    return np.column_stack([points[:, 0], -points[:, 2], points[:, 1]]) * 1000


def inside(mesh, random, count=POINTS):
    """Points well within facets: their places, facets and weights."""
    facets = random.choice(len(mesh.faces), count, p=mesh.area_faces / mesh.area)
    weights = random.dirichlet([2.0] * 3, count)
    points = np.einsum("ij,ijk->ik", weights, mesh.triangles[facets])
    return points, facets, weights


def blocks(random, side=256):
    """A picture of flat blocks, so that which pixel is nearest hardly matters."""
    small = random.integers(0, 256, (side // BLOCK, side // BLOCK, 3), dtype=np.uint8)
    return Image.fromarray(np.kron(small, np.ones((BLOCK, BLOCK, 1), dtype=np.uint8)))


def textured(random):
    ball = trimesh.creation.icosphere(subdivisions=2, radius=12.0)
    # Each facet has corners of its own, anywhere on the picture, also beyond its edges.
    corners = ball.triangles.reshape(-1, 3)
    uv = random.uniform(-0.4, 1.4, (len(corners), 2))
    uv[1::3] = uv[0::3] + random.uniform(-0.2, 0.2, uv[1::3].shape)
    uv[2::3] = uv[0::3] + random.uniform(-0.2, 0.2, uv[2::3].shape)
    mesh = trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)
    material = trimesh.visual.material.SimpleMaterial(image=blocks(random))
    mesh.visual = trimesh.visual.TextureVisuals(uv=uv, material=material)
    return mesh


def textures(tools, random):
    """A texture in GLB, in glTF with files beside it, and in OBJ with MTL: the colour of each point."""
    mesh = textured(random)
    points, facets, weights = inside(mesh, random, 3 * POINTS)
    uv = np.einsum("ij,ijk->ik", weights, mesh.visual.uv[mesh.faces[facets]])
    # trimesh rounds to other pixels at the edges of blocks.
    place = (uv % 1.0) * 256 % BLOCK
    clear = ((place > 2) & (place < BLOCK - 2)).all(axis=1)
    points, uv = points[clear], uv[clear]
    wanted = mesh.visual.material.to_color(uv % 1.0)[:, :3] / 255
    folder = tools.folder / "textured"
    folder.mkdir()
    mesh.export(folder / "ball.obj")
    found = asked(tools, folder / "ball.obj", points)
    yield Check("texture of OBJ and MTL: colour of points", "trimesh", worst(found, wanted), CODE, len(points))
    glb = mesh.copy()
    glb.visual.material = trimesh.visual.material.PBRMaterial(baseColorTexture=mesh.visual.material.image)
    glb.export(folder / "ball.glb")
    found = asked(tools, folder / "ball.glb", from_gltf(points))
    yield Check("texture of GLB: colour of points", "trimesh", worst(found, wanted), CODE, len(points))
    for name, content in trimesh.exchange.gltf.export_gltf(trimesh.Scene(glb)).items():
        (folder / name).write_bytes(content)
    found = asked(tools, folder / "model.gltf", from_gltf(points))
    yield Check("texture of glTF and files beside it", "trimesh", worst(found, wanted), CODE, len(points))


def vertices(tools, random):
    """Colours of vertices, between which code values are taken (PLY, OBJ) or linear light (glTF)."""
    mesh = trimesh.creation.icosphere(subdivisions=2, radius=15.0)
    mesh.visual.vertex_colors = np.column_stack(
        [random.integers(0, 256, (len(mesh.vertices), 3)), np.full(len(mesh.vertices), 255)]
    ).astype(np.uint8)
    points, facets, weights = inside(mesh, random)
    codes = mesh.visual.vertex_colors[:, :3] / 255
    wanted = np.einsum("ij,ijk->ik", weights, codes[mesh.faces[facets]])
    folder = tools.folder / "vertices"
    folder.mkdir()
    for name, options in [("ball.ply", {}), ("text.ply", {"encoding": "ascii"}), ("ball.obj", {})]:
        mesh.export(folder / name, **options)
        found = asked(tools, folder / name, points)
        yield Check(f"colours of vertices, {name}", "trimesh", worst(found, wanted), CODE, len(points))
    mesh.export(folder / "ball.glb")
    wanted = colour.cctf_encoding(np.clip(wanted, 0, 1), "sRGB")
    found = asked(tools, folder / "ball.glb", from_gltf(points))
    yield Check("colours of vertices, GLB", "trimesh, linear by glTF 2.0, 3.7.2.1, sRGB of colour-science",
                worst(found, wanted), CODE, len(points))


def faces(tools, random):
    """Colours of faces in PLY."""
    mesh = trimesh.creation.box((20, 30, 10)).subdivide()
    mesh.visual.face_colors = np.column_stack(
        [random.integers(0, 256, (len(mesh.faces), 3)), np.full(len(mesh.faces), 255)]
    ).astype(np.uint8)
    points, facets, _ = inside(mesh, random)
    wanted = mesh.visual.face_colors[facets, :3] / 255
    path = tools.folder / "faces.ply"
    mesh.export(path)
    yield Check("colours of faces, PLY", "trimesh", worst(asked(tools, path, points), wanted), CODE, len(points))


def nodes(tools, random):
    """Parts that nodes turn, scale and mirror, each of one colour."""
    scene = trimesh.Scene()
    for number in range(6):
        part = trimesh.creation.box((0.02, 0.01, 0.015))
        factor = np.append(random.integers(0, 256, 3), 255).astype(np.uint8)
        part.visual = trimesh.visual.TextureVisuals(
            material=trimesh.visual.material.PBRMaterial(baseColorFactor=factor))
        turn = trimesh.transformations.random_rotation_matrix(random.random(3))
        turn[:3, :3] *= random.uniform(0.5, 2.0) * (1 if number % 2 else -1)
        turn[:3, 3] = [0.1 * number, random.uniform(-0.1, 0.1), random.uniform(-0.1, 0.1)]
        scene.add_geometry(part, node_name=f"part {number}", transform=turn)
    path = tools.folder / "nodes.glb"
    scene.export(path)
    points, wanted = [], []
    for part in trimesh.load(path).dump():
        points.append(inside(part, random, 60)[0])
        # trimesh gives the factor's own numbers, which are linear.
        factor = np.asarray(part.visual.material.baseColorFactor)[:3] / 255
        wanted.append(np.tile(colour.cctf_encoding(factor, "sRGB"), (60, 1)))
    found = asked(tools, path, from_gltf(np.vstack(points)))
    yield Check("base colours where nodes put them, GLB", "trimesh, sRGB of colour-science",
                worst(found, np.vstack(wanted)), CODE, len(found))


def of_3mf(tools, random):
    """Colour groups and textures of 3MF."""
    box = trimesh.creation.box((20, 20, 20)).subdivide()
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    part = model.AddMeshObject()
    for vertex in box.vertices:
        part.AddVertex(lib3mf.Position((lib3mf.ctypes.c_float * 3)(*vertex)))
    for face in box.faces:
        part.AddTriangle(lib3mf.Triangle((lib3mf.ctypes.c_uint32 * 3)(*map(int, face))))
    group = model.AddColorGroup()
    codes = random.integers(0, 256, (7, 3))
    numbers = [group.AddColor(lib3mf.Color(*map(int, code), 255)) for code in codes]
    picture = blocks(random)
    image = tools.folder / "blocks.png"
    picture.save(image)
    attachment = model.AddAttachment(
        "/3D/Texture/blocks.png", "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dtexture")
    attachment.ReadFromFile(str(image))
    texture = model.AddTexture2DFromAttachment(attachment)
    texture.SetContentType(lib3mf.TextureType.PNG)
    places = model.AddTexture2DGroup(texture)
    shown = random.random(len(box.faces)) < 0.5
    members, uv = np.zeros((len(box.faces), 3), int), np.zeros((len(box.faces), 3, 2))
    for number, face in enumerate(box.faces):
        if shown[number]:
            uv[number] = random.uniform(0.1, 0.7) + random.uniform(0, 0.2, (3, 2))
            ids = [places.AddTex2Coord(lib3mf.Tex2Coord(*map(float, place))) for place in uv[number]]
            resource = places.GetResourceID()
        else:
            members[number] = random.integers(0, 7, 3)
            ids = [numbers[member] for member in members[number]]
            resource = group.GetResourceID()
        part.SetTriangleProperties(
            number, lib3mf.TriangleProperties(resource, (lib3mf.ctypes.c_uint32 * 3)(*ids)))
    part.SetObjectLevelProperty(group.GetResourceID(), numbers[0])
    model.AddBuildItem(part, wrapper.GetIdentityTransform())
    path = tools.folder / "coloured.3mf"
    model.QueryWriter("3mf").WriteToFile(str(path))
    points, facets, weights = inside(box, random, 3 * POINTS)
    plain = ~shown[facets]
    linear = colour.cctf_decoding(codes / 255, "sRGB")[members[facets]]
    wanted = colour.cctf_encoding(np.clip(np.einsum("ij,ijk->ik", weights, linear), 0, 1), "sRGB")
    found = asked(tools, path, points)
    yield Check("colour groups of 3MF", "lib3mf, linear light, sRGB of colour-science",
                worst(found[plain], wanted[plain]), CODE, int(plain.sum()))
    place = np.einsum("ij,ijk->ik", weights, uv[facets])
    pixel = np.floor(np.column_stack([place[:, 0], 1 - place[:, 1]]) * 256).astype(int)
    edge = np.column_stack([place[:, 0], 1 - place[:, 1]]) * 256 % BLOCK
    clear = ~plain & ((edge > 0.1) & (edge < BLOCK - 0.1)).all(axis=1)
    wanted = np.asarray(picture)[pixel[:, 1].clip(0, 255), pixel[:, 0].clip(0, 255)] / 255
    yield Check("textures of 3MF", "lib3mf, Pillow", worst(found[clear], wanted[clear]), CODE, int(clear.sum()))


def spool_file(tools, name, codes):
    path = tools.folder / f"{name}.spools.ron"
    path.write_text(SPOOLS % tuple(codes))
    return path


def regions(tools, random):
    """A ball in four quarters of the spools' own colours: the areas of the regions as prepared."""
    codes = ["#c03028", "#f2efe6", "#20407c"]
    spools = spool_file(tools, "quarters", codes)
    ball = trimesh.creation.icosphere(subdivisions=5, radius=20.0)
    middles = ball.triangles_center
    which = np.where(middles[:, 2] > 5, 0, np.where(middles[:, 0] > 0, 1, 2))
    rgb = np.array([[int(code[i:i + 2], 16) for i in (1, 3, 5)] for code in codes])
    ball.visual.face_colors = np.column_stack([rgb[which], np.full(len(which), 255)]).astype(np.uint8)
    path = tools.folder / "quarters.ply"
    ball.export(path)
    made = tools.tintfall("new", path, "--colours", "3", "--spools", spools)
    assert made["blends"] == 3, made
    plan = tools.folder / "quarters.plan.ron"
    prepared = tools.tintfall("prepare", plan, "--out", tools.folder / "quarters")
    areas = {region["name"]: region["area_mm2"] for region in prepared["totals"]["regions"]}
    off = 0.0
    for region in made["regions"]:
        number = int(np.argmax(region["shares"]))
        wanted = ball.area_faces[which == number].sum()
        off = max(off, abs(areas[region["name"]] / wanted - 1))
    yield Check("areas of regions of a model's colours", "trimesh", off, 0.01, 3)


def palettes(tools, random):
    """The mean difference of chosen blends is no more than that of k-means, k-medoids and the best pair."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=20.0)
    off = {"k-means": 0.0, "k-medoids": 0.0, "best pair": 0.0, "its own figure": 0.0}
    count = dict.fromkeys(off, 0)
    for case, codes in enumerate([["#d03a2e", "#f2efe6", "#1f4f9a"], ["#0e8a5a", "#f3d43a", "#20222a"]]):
        # A few colours that run into each other, as scans have them.
        heads = random.integers(20, 236, (9, 3))
        middles = ball.triangles_center / 20
        near = np.exp(6 * middles @ random.normal(size=(3, 9)))
        mix = near / near.sum(axis=1, keepdims=True) @ heads + random.normal(0, 6, (len(middles), 3))
        rgb = mix.round().clip(0, 255).astype(np.uint8)
        ball.visual.face_colors = np.column_stack([rgb, np.full(len(rgb), 255, np.uint8)])
        path = tools.folder / f"palette-{case}.ply"
        ball.export(path)
        spools = spool_file(tools, f"palette-{case}", codes)
        lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(rgb / 255), colour.CCS_ILLUMINANTS[
            "CIE 1931 2 Degree Standard Observer"]["D65"])
        area = ball.area_faces / ball.area
        steps = 50
        shares = [[a / steps, b / steps, (steps - a - b) / steps]
                  for a in range(steps + 1) for b in range(steps + 1 - a)]
        reach = reached(tools, codes, shares)
        miss = colour.delta_E(lab[:, None, :], reach[None, :, :], method="CIE 2000")
        for blends in range(1, 7):
            made = tools.tintfall("new", path, "--colours", blends, "--spools", spools, "--replace")
            if made["blends"] != blends:
                continue
            own = reached(tools, codes, [region["shares"] for region in made["regions"]])
            ours = mean(colour.delta_E(lab[:, None, :], own[None, :, :], method="CIE 2000"), area)
            row = next(row for row in made["rows"] if row["blends"] == blends)
            off["its own figure"] = max(off["its own figure"], abs(row["mean_de00"] - ours))
            count["its own figure"] += 1
            beside = {"k-means": k_means(lab, area, miss, reach, blends),
                      "k-medoids": k_medoids(miss, area, blends, random)}
            if blends == 2:
                beside["best pair"] = best_pair(miss, area)
            for name, theirs in beside.items():
                off[name] = max(off[name], ours - theirs)
                count[name] += 1
    source = "scikit-learn {}, ΔE00 of colour-science"
    yield Check("blends no worse than k-means", source.format("KMeans"), off["k-means"], 0.02, count["k-means"])
    yield Check("blends no worse than k-medoids", source.format("k-means++ starts"), off["k-medoids"], 0.02,
                count["k-medoids"])
    yield Check("two blends beside every pair in steps of 2 %", "NumPy, ΔE00 of colour-science",
                off["best pair"], 0.02, count["best pair"])
    yield Check("mean difference as told", "ΔE00 of colour-science", off["its own figure"], 0.25,
                count["its own figure"])


def reached(tools, codes, shares):
    questions = [{"mix": {"spools": codes, "shares": share}} for share in shares]
    return np.array([answer["lab"] for answer in tools.colours(questions)])


def mean(miss, area):
    return float((miss.min(axis=1) * area).sum())


def k_means(lab, area, miss, reach, blends):
    """Clusters in CIELAB by area, each taken to the blend nearest to its middle."""
    fitted = KMeans(blends, n_init=10, random_state=SEED).fit(lab, sample_weight=area)
    middles = colour.delta_E(fitted.cluster_centers_[:, None, :], reach[None, :, :], method="CIE 2000")
    return mean(miss[:, middles.argmin(axis=1)], area)


def k_medoids(miss, area, blends, random):
    """Blends exchanged in turn for the best of those that their own colours have, from ten starts."""
    best = np.inf
    for _ in range(10):
        chosen = random.choice(miss.shape[1], blends, replace=False)
        for _ in range(50):
            own = miss[:, chosen].argmin(axis=1)
            new = np.array([
                ((miss * area[:, None])[own == k].sum(axis=0)).argmin() if (own == k).any() else chosen[k]
                for k in range(blends)])
            if (new == chosen).all():
                break
            chosen = new
        best = min(best, mean(miss[:, chosen], area))
    return best


def best_pair(miss, area):
    weighted = (miss * area[:, None]).astype(np.float32)
    pairs = itertools.combinations(range(0, miss.shape[1], 2), 2)
    return min(float(np.minimum(weighted[:, a], weighted[:, b]).sum()) for a, b in pairs)
