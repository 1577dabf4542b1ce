"""A finished part beside the photograph card, rendered by a renderer of its own: its shape under a sky and two lamps.

It shares nothing with Tintfall, and with studio.py only the card's drawing, the spectra and the
camera. The part's mesh (read by trimesh) is drawn facet by facet into a depth buffer. Its light is
worked out where a ray meets it: a sky that is brighter above, a lamp or window and a weaker second
one at a finite distance, with the shadows that they throw (a depth buffer from each lamp, read
softly), and what the white paper throws back from below. All of it falls on the card as well. So a
face's light depends on its direction, on its place, and on what stands before it.
"""

import io
from dataclasses import dataclass

import colour
import numpy as np
from PIL import Image
from scipy import ndimage

import studio
from plastics import SHAPE
from studio import FINE, INK, PAPER, TABLE


@dataclass
class Pose:
    """How one picture of a standing part is taken; lengths in mm on the card's field."""

    seed: int = 0
    size: tuple = (1200, 1600)
    light: str = "D55"
    # The camera looks at a point of the card from so high (degrees) and so far, turned aside.
    look_at: tuple = (90.0, 92.0, 30.0)
    rise_deg: float = 45.0
    aside_deg: float = 0.0
    roll_deg: float = 0.0
    distance_mm: float = 370.0
    focal: float = 0.74
    k1: float = 0.0
    # Where the part stands: its axis on the card's field, and turned counter-clockwise from above.
    at: tuple = (90.0, -20.0)
    turn_deg: float = 0.0
    # The side that it lies on, or none where it stands as printed.
    lies_on: str = ""
    print_scale: float = 1.0
    # Lamps: direction (x right, y towards the camera, up), distance and share of the light.
    lamps: tuple = (((-0.6, 0.5, 0.9), 900.0, 0.45), ((0.8, 0.3, 0.8), 1100.0, 0.2))
    vignetting: float = 0.25
    curve: float = 0.15
    exposure: float = 0.7
    noise: float = 0.006
    quality: int = 70
    blur_px: float = 0.7
    gloss: float = 0.0
    references: tuple = ((0, 0.9), (1, 0.18), (2, 0.04))


class Eye:
    """A camera by where it stands and looks; x right, y down the card, z away from the viewer's side."""

    def __init__(self, pose, corner):
        self.size = pose.size
        self.focal = pose.focal * max(pose.size)
        self.k1 = pose.k1
        rise, aside, roll = np.radians([pose.rise_deg, pose.aside_deg, pose.roll_deg])
        target = np.array([pose.look_at[0], pose.look_at[1], -pose.look_at[2]]) * pose.print_scale + [*corner, 0]
        toward = np.array([np.sin(aside) * np.cos(rise), np.cos(aside) * np.cos(rise), -np.sin(rise)])
        self.eye = target + pose.distance_mm * toward
        ahead = -toward
        right = np.cross(ahead, [0.0, 0.0, -1.0])
        right /= np.linalg.norm(right)
        down = np.cross(ahead, right)
        right, down = np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right
        self.turn = np.stack([right, down, ahead])

    def project(self, points):
        seen = (points - self.eye) @ self.turn.T
        u = seen[:, :2] / seen[:, 2:]
        u = u * (1 + self.k1 * (u * u).sum(axis=1, keepdims=True))
        return u * self.focal + np.array(self.size) / 2

    rays = studio.Camera.rays


# Where x, y and z of a part point to as it lies on a side of its own.
LYING = {
    "": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "back": [[1, 0, 0], [0, 0, 1], [0, -1, 0]],
    "front": [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
    "left": [[0, 0, -1], [0, 1, 0], [1, 0, 0]],
    "right": [[0, 0, 1], [0, 1, 0], [-1, 0, 0]],
    "top": [[1, 0, 0], [0, -1, 0], [0, 0, -1]],
}


def laid(mesh, side):
    """The part's points as it lies on a side: on the table, the middle of its box over the origin."""
    points = np.array(mesh.vertices, float) @ np.array(LYING[side], float).T
    low, high = points.min(axis=0), points.max(axis=0)
    return points - [*(low[:2] + high[:2]) / 2, low[2]]


def stood(points, pose, corner):
    """A part's points where it is on the table; z up is negative, as in studio.py."""
    x, y, z = points.T
    t = np.radians(pose.turn_deg)
    across, back = x * np.cos(t) - y * np.sin(t), x * np.sin(t) + y * np.cos(t)
    at = np.array(pose.at) * pose.print_scale + corner
    return np.stack([at[0] + across, at[1] - back, -z], 1)


def drawn(seen, depth_of, faces, shape, keep):
    """For each pixel the facet and the place on it that is nearest; `seen` are points in px."""
    depth = np.full(shape, np.inf)
    facet = np.full(shape, -1, int)
    weights = np.zeros((*shape, 3), np.float32)
    for i in np.flatnonzero(keep):
        corners = seen[faces[i]]
        low = np.maximum(np.ceil(corners.min(axis=0) - 0.5), 0).astype(int)
        high = np.minimum(np.floor(corners.max(axis=0) - 0.5) + 1, shape[::-1]).astype(int)
        if (low >= high).any():
            continue
        (ax, ay), (bx, by), (cx, cy) = corners
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if abs(area) < 1e-12:
            continue
        px = np.arange(low[0], high[0]) + 0.5
        py = (np.arange(low[1], high[1]) + 0.5)[:, None]
        b = ((px - ax) * (cy - ay) - (py - ay) * (cx - ax)) / area
        c = ((bx - ax) * (py - ay) - (by - ay) * (px - ax)) / area
        a = 1 - b - c
        # Right in perspective: one over the depth is what is even across the picture.
        da, db, dc = depth_of[faces[i]]
        inverse = a / da + b / db + c / dc
        window = (slice(low[1], high[1]), slice(low[0], high[0]))
        with np.errstate(divide="ignore"):
            far = 1 / inverse
        hit = (a >= -1e-7) & (b >= -1e-7) & (c >= -1e-7) & (far > 0) & (far < depth[window])
        if hit.any():
            depth[window][hit] = far[hit]
            facet[window][hit] = i
            weights[window][hit] = np.stack([a / da, b / db, c / dc], -1)[hit] * far[hit][:, None]
    return depth, facet, weights


class Lamp:
    """A lamp at a place, with a buffer of how far the part is from it."""

    PX = 260

    def __init__(self, direction, distance, strength, points, faces):
        direction = np.array([direction[0], direction[1], -direction[2]])
        middle = points.mean(axis=0)
        self.at = middle + direction / np.linalg.norm(direction) * distance
        self.distance, self.strength = distance, strength
        ahead = (middle - self.at) / distance
        right = np.cross(ahead, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        self.turn = np.stack([right, np.cross(ahead, right), ahead])
        there = (points - self.at) @ self.turn.T
        self.scale = self.PX / 2 / (np.abs(there[:, :2] / there[:, 2:]).max() * 1.05)
        # Points all over each facet, so that no cell between them stays empty.
        a, b, c = (points[faces[:, i]] for i in range(3))
        apart = np.sqrt(np.linalg.norm(np.cross(b - a, c - a), axis=1).max())
        count = int(np.clip(np.ceil(apart / (distance / self.scale) * 1.5), 3, 60))
        self.depth = np.full((self.PX, self.PX), np.inf)
        for u in (np.arange(count) + 0.5) / count:
            for v in (np.arange(count) + 0.5) / count:
                u1, v1 = (u, v) if u + v < 1 else (1 - u, 1 - v)
                place, far = self.seen(a + u1 * (b - a) + v1 * (c - a))
                np.minimum.at(self.depth, (place[:, 1].astype(int), place[:, 0].astype(int)), far)
        self.depth = ndimage.grey_erosion(self.depth, (3, 3))

    def seen(self, points):
        there = (points - self.at) @ self.turn.T
        return there[..., :2] / there[..., 2:] * self.scale + self.PX / 2, there[..., 2]

    def on(self, points, normals):
        """Its light on some places."""
        to = self.at - points
        distance = np.linalg.norm(to, axis=-1)
        facing = np.maximum((normals * to).sum(axis=-1) / distance, 0)
        # A little off the skin, so that it throws no shadow on itself.
        place, far = self.seen(points + 2.5 * normals)
        # Soft by the lamp's size: the mean over places about it.
        around = [(dx, dy) for dx in (-3, 0, 3) for dy in (-3, 0, 3)]
        open_to = np.zeros(far.shape)
        for dx, dy in around:
            x, y = ((place[..., i] + d).astype(int) for i, d in ((0, dx), (1, dy)))
            inside = (x >= 0) & (y >= 0) & (x < self.PX) & (y < self.PX)
            nearest = np.where(inside, self.depth[y.clip(0, self.PX - 1), x.clip(0, self.PX - 1)], np.inf)
            open_to += (far <= nearest + 1.0) / len(around)
        return self.strength * facing * (self.distance / distance) ** 2 * open_to


def lit(points, normals, lamps):
    """Light on places: a sky, the paper below, and the lamps."""
    up = -normals[..., 2]
    sky = 1 - sum(lamp.strength for lamp in lamps)
    light = sky * (0.5 + 0.5 * up) ** 1.2 + 0.22 * (0.5 - 0.5 * up)
    for lamp in lamps:
        light = light + lamp.on(points, normals)
    return light


def on_ground(ground, lamps, every=5):
    """The light on the table, which changes slowly: worked out for every few pixels."""
    few = ground[::every, ::every]
    light = lit(few, np.broadcast_to(np.array([0.0, 0.0, -1.0]), few.shape), lamps)
    rows, columns = (np.arange(n) / every for n in ground.shape[:2])
    grid = np.meshgrid(rows, columns, indexing="ij")
    return ndimage.map_coordinates(light, grid, order=1, mode="nearest").astype(np.float32)


def photograph(pose, svg, mesh, look):
    """The picture's JPEG, its camera, where the card's field begins, and what is seen where.

    `look(points, facets, see)` gives the sensor's colours at places of the part, in its own mm.
    """
    draw = np.random.default_rng(pose.seed)
    ink, (paper_w, paper_h) = studio.drawing(svg)
    scale = pose.print_scale
    corner = np.array([(paper_w - 180) / 2, (paper_h - 250) / 2]) * scale
    camera = Eye(pose, corner)
    width, height = pose.size
    xs, ys = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    rays = camera.rays(xs, ys)
    with np.errstate(divide="ignore"):
        t = -camera.eye[2] / rays[..., 2]
    t = np.where((t > 0) & (t < 4000), t, 4000)
    ground = camera.eye + t[..., None] * rays
    ground[..., 2] = 0

    source = colour.SDS_ILLUMINANTS[pose.light].copy().align(SHAPE).values
    see = lambda reflectance: np.atleast_2d(reflectance) @ (studio.SENSOR * source).T / (studio.SENSOR * source).sum(axis=1)
    picture = np.empty((height, width, 3), np.float32)
    picture[:] = see(TABLE)[0]
    page = ground[..., :2] / scale
    on_page = (page[..., 0] >= 0) & (page[..., 0] < paper_w) & (page[..., 1] >= 0) & (page[..., 1] < paper_h)
    cover = ndimage.map_coordinates(ink, [page[..., 1] * FINE - 0.5, page[..., 0] * FINE - 0.5], order=1, mode="nearest")
    blank = see(PAPER)[0] + cover[..., None] * (see(INK)[0] - see(PAPER)[0])
    picture[on_page] = blank[on_page]
    for place, reflectance in pose.references:
        x, y = [(28, 40), (28, 111), (28, 182)][place]
        here = ground[..., :2] - corner
        inside = ((here[..., 0] > (x - 1) * scale) & (here[..., 0] < (x + 29) * scale) &
                  (here[..., 1] > (y - 1) * scale) & (here[..., 1] < (y + 29) * scale))
        picture[inside] = reflectance

    at_rest, faces = laid(mesh, pose.lies_on), np.array(mesh.faces)
    points = stood(at_rest, pose, corner)
    a, b, c = (points[faces[:, i]] for i in range(3))
    # The table's z points down, so what is wound outwards runs the other way here.
    normals = -np.cross(b - a, c - a) * 1.0
    outward = np.cross(at_rest[faces[:, 1]] - at_rest[faces[:, 0]], at_rest[faces[:, 2]] - at_rest[faces[:, 0]])
    normals *= np.sign((normals[:, 2] * -outward[:, 2]).sum())
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    lamps = [Lamp(*lamp, points, faces) for lamp in pose.lamps]
    light = on_ground(ground, lamps)

    facing = (normals * (camera.eye - a)).sum(axis=1) > 0
    depth_of = ((points - camera.eye) @ camera.turn.T)[:, 2]
    _, facet, weights = drawn(camera.project(points), depth_of, faces, (height, width), facing)
    hit = facet >= 0
    corners = faces[facet[hit]]
    mix = weights[hit][..., None]
    own = (np.array(mesh.vertices)[corners] * mix).sum(axis=1)
    there = (points[corners] * mix).sum(axis=1)
    picture[hit] = look(own, facet[hit], see)
    light[hit] = lit(there, normals[facet[hit]], lamps)
    shine = np.zeros((height, width), np.float32)
    if pose.gloss:
        back = camera.eye - there
        back /= np.linalg.norm(back, axis=1, keepdims=True)
        for lamp in lamps:
            to = lamp.at - there
            to /= np.linalg.norm(to, axis=1, keepdims=True)
            half = (to + back) / np.linalg.norm(to + back, axis=1, keepdims=True)
            shine[hit] += pose.gloss * np.maximum((half * normals[facet[hit]]).sum(axis=1), 0) ** 60

    picture *= light[..., None]
    picture += shine[..., None]
    far = ((xs / width - 0.5) ** 2 + (ys / height - 0.5) ** 2) / 0.5
    picture *= (1 - pose.vignetting * far)[..., None]
    picture = ndimage.gaussian_filter(picture, (pose.blur_px, pose.blur_px, 0))
    brightest = np.quantile(picture[on_page & ~hit][:, 1], 0.98)
    picture *= pose.exposure / brightest
    picture += draw.normal(size=picture.shape) * pose.noise * np.sqrt(picture.clip(0) + 0.01)
    codes = studio.tone(picture @ studio.matrix(source).T, pose.curve)
    out = io.BytesIO()
    Image.fromarray((codes * 255).round().astype(np.uint8)).save(out, "JPEG", quality=pose.quality, subsampling=2)
    return out.getvalue(), camera, corner, hit
