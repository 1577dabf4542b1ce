"""Mixing against published ink tints: how far off the fitted model is where it was not fitted.

No registry was found to carry measured mixtures of paints or plastics. What is published
widely are press characterisations, as profiles (ISO 15076-1) of printed tints and overprints;
the one read here comes with Debian's package libgs-common. A halftone tint is ink beside
paper and not ink stirred into it, so this is the model's bad day: no more is asked than that
it beats plain mixing in linear light over all tints together, each tint predicted from a fit
to the others of its ramp.
"""

import json
import math
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms

from tools import Check, Tools

PROFILE = Path("/usr/share/color/icc/ghostscript/default_cmyk.icc")
SOURCE = "press profile of Debian's libgs-common, absolute colorimetric, read by LittleCMS through Pillow"
INKS = {
    "cyan": (1, 0, 0, 0), "magenta": (0, 1, 0, 0), "yellow": (0, 0, 1, 0), "black": (0, 0, 0, 1),
    "red": (0, 1, 1, 0), "green": (1, 0, 1, 0), "blue": (1, 1, 0, 0),
}
STEPS = 11


def printed(inks: np.ndarray) -> np.ndarray:
    """CIELAB of ink amounts from 0 to 1, n × 4."""
    image = Image.fromarray(np.round(inks[None] * 255).astype(np.uint8), "CMYK")
    to_lab = ImageCms.buildTransform(
        str(PROFILE), ImageCms.createProfile("LAB"), "CMYK", "LAB",
        renderingIntent=ImageCms.Intent.ABSOLUTE_COLORIMETRIC,
    )
    codes = np.asarray(ImageCms.applyTransform(image, to_lab))[0]
    # Pillow hands a* and b* out as signed bytes.
    return np.column_stack([codes[:, 0] * (100 / 255), codes[:, 1:].view(np.int8)])


def fit(tools: Tools, name: str, ink: tuple) -> dict:
    """Has the ramp from paper to one ink fitted as if it were a test print."""
    folder = tools.folder / f"ink-{name}"
    folder.mkdir(exist_ok=True)
    shares = np.linspace(0, 1, STEPS)
    labs = printed(shares[:, None] * np.array(ink, dtype=float))
    spools = ", ".join(
        f'(name: "{spool}", colour: Lab(l: {l}, a: {a}, b: {b}))'
        for spool, (l, a, b) in (("paper", labs[0]), (name, labs[-1]))
    )
    (folder / "spools.ron").write_text(f"(version: 1, spools: [{spools}])")
    rows = [
        f"{number},{1 - share:.3f},{share:.3f},{l:.4f},{a:.4f},{b:.4f}"
        for number, (share, (l, a, b)) in enumerate(zip(shares, labs), 1)
    ]
    head = ["# format: 1", "# spools: spools.ron", "# specular: excluded", "step,share_1,share_2,l,a,b"]
    (folder / "measured.csv").write_text("\n".join(head + rows) + "\n")
    return tools.tintfall("fit", folder / "measured.csv", "--out", folder / "pair.ron")


def checks(tools: Tools) -> Iterator[Check]:
    model, plain, count = [], [], 0
    for name, ink in INKS.items():
        result = fit(tools, name, ink)
        model.append(result["leave_one_out_rms_delta_e00"])
        plain.append(result["linear_light_rms_delta_e00"])
        count += STEPS - 2
        print(f"       {name}: {model[-1]:.1f} ΔE00 where not fitted, {plain[-1]:.1f} in linear light")
    rms = [math.sqrt(sum(x * x for x in each) / len(each)) for each in (model, plain)]
    yield Check("ΔE00 of ink tints where not fitted, allowed what linear light has", SOURCE, *rms, count)
