"""Asks the file that `tintfall-viewer --places FILE` keeps where things are on the window."""

import json
import pathlib
import sys
import time

PATIENCE_S = 60.0
CALM_S = 1.0


def read(file):
    try:
        return json.loads(pathlib.Path(file).read_text())
    except (OSError, ValueError):
        return {}


def wait_for(file, name):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        place = read(file).get(name)
        if place and place[2] > 0:
            return place
        time.sleep(0.1)
    return None


def calm(file):
    """Waits until nothing has moved for a while."""
    last, since = None, time.monotonic()
    end = since + PATIENCE_S
    while time.monotonic() < end:
        now = read(file)
        if now != last:
            last, since = now, time.monotonic()
        if time.monotonic() - since > CALM_S:
            return True
        time.sleep(0.1)
    return False


def gone(file, name):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if name not in read(file):
            return True
        time.sleep(0.1)
    return False


def main():
    what, file, *more = sys.argv[1:]
    if what == "calm":
        return 0 if calm(file) else 1
    if what == "gone":
        return 0 if gone(file, more[0]) else 1
    place = wait_for(file, more[0])
    if place is None:
        return 1
    left, top, width, height = place
    if what == "box":
        print(f"{width:.0f}x{height:.0f}+{left:.0f}+{top:.0f}")
    else:
        x, y = (0.5, 0.5) if what == "middle" else map(float, more[1:3])
        print(f"{left + x * width:.0f} {top + y * height:.0f}")
    return 0


sys.exit(main())
