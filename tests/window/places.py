"""Asks the file that `tintfall-viewer --places FILE` keeps where things are on the window.

    places.py middle FILE NAME              "x y" of the middle of what bears a name
    places.py within FILE NAME ACROSS DOWN  "x y" at shares of its width and height
    places.py box FILE NAME [LESS]          "WxH+X+Y" of it, without LESS pixels at its foot
    places.py pointer FILE X Y DOWN         waits until the window has seen the pointer there,
                                            with its first button down (1) or up (0)
    places.py count FILE                    how often the first button was let go
    places.py past FILE COUNT               waits until that is more than COUNT
    places.py calm FILE                     waits until nothing has changed for a while
    places.py gone FILE NAME                waits until nothing bears a name

All wait for what they are asked for, as long as PATIENCE_S: a loaded machine with software
Vulkan may draw a frame a second.
"""

import json
import pathlib
import sys
import time

PATIENCE_S = 120.0
CALM_S = 2.0
POINTER = "the pointer"


def read(file):
    try:
        return json.loads(pathlib.Path(file).read_text())
    except (OSError, ValueError):
        return {}


def wait(condition):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        found = condition()
        if found:
            return found
        time.sleep(0.05)
    return None


def wait_for(file, name):
    def seen():
        place = read(file).get(name)
        return place if place and place[2] > 0 else None

    return wait(seen)


def pointer(file, x, y, down):
    def there():
        at = read(file).get(POINTER)
        near = at and abs(at[0] - x) <= 1 and abs(at[1] - y) <= 1
        return near and at[2] == down

    return wait(there)


def calm(file):
    last, since = None, time.monotonic()

    def still():
        nonlocal last, since
        now = read(file)
        if now != last:
            last, since = now, time.monotonic()
        return time.monotonic() - since > CALM_S

    return wait(still)


def main():
    what, file, *more = sys.argv[1:]
    if what == "calm":
        return 0 if calm(file) else 1
    if what == "count":
        print(int(wait(lambda: read(file).get(POINTER))[3]))
        return 0
    if what == "past":
        return 0 if wait(lambda: read(file).get(POINTER, [0] * 4)[3] > float(more[0])) else 1
    if what == "gone":
        return 0 if wait(lambda: more[0] not in read(file)) else 1
    if what == "pointer":
        x, y, down = map(float, more)
        return 0 if pointer(file, x, y, down) else 1
    place = wait_for(file, more[0])
    if place is None:
        return 1
    left, top, width, height = place
    if what == "box":
        less = float(more[1]) if len(more) > 1 else 0.0
        print(f"{width:.0f}x{height - less:.0f}+{left:.0f}+{top:.0f}")
    else:
        x, y = (0.5, 0.5) if what == "middle" else map(float, more[1:3])
        print(f"{left + x * width:.0f} {top + y * height:.0f}")
    return 0


sys.exit(main())
