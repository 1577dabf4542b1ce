"""Drops a file on a window as a file manager does.

    drop.py WINDOW X Y FILE     at a place of the root window, by the window's number

By the published protocol "Drag-and-Drop Protocol for the X Window System" (XDND), version 5, through
Xlib alone. Ends with 0 once the window has said that it took the file.
"""

import ctypes
import pathlib
import select
import sys
import time

PATIENCE_S = 60.0
SELECTION_REQUEST, SELECTION_NOTIFY, CLIENT_MESSAGE = 30, 31, 33
ATOM, COPY = 4, b"XdndActionCopy"

x11 = ctypes.CDLL("libX11.so.6")
Window = Atom = Time = ctypes.c_ulong
Display = ctypes.c_void_p


class ClientMessage(ctypes.Structure):
    _fields_ = [("type", ctypes.c_int), ("serial", ctypes.c_ulong), ("send_event", ctypes.c_int),
                ("display", Display), ("window", Window), ("message", Atom), ("format", ctypes.c_int),
                ("data", ctypes.c_long * 5)]


class SelectionRequest(ctypes.Structure):
    _fields_ = [("type", ctypes.c_int), ("serial", ctypes.c_ulong), ("send_event", ctypes.c_int),
                ("display", Display), ("owner", Window), ("requestor", Window), ("selection", Atom),
                ("target", Atom), ("property", Atom), ("time", Time)]


class SelectionNotify(ctypes.Structure):
    _fields_ = [("type", ctypes.c_int), ("serial", ctypes.c_ulong), ("send_event", ctypes.c_int),
                ("display", Display), ("requestor", Window), ("selection", Atom), ("target", Atom),
                ("property", Atom), ("time", Time)]


class Event(ctypes.Union):
    _fields_ = [("type", ctypes.c_int), ("client", ClientMessage), ("request", SelectionRequest),
                ("notify", SelectionNotify), ("pad", ctypes.c_long * 24)]


for name, result, arguments in [
    ("XOpenDisplay", Display, [ctypes.c_char_p]),
    ("XDefaultRootWindow", Window, [Display]),
    ("XInternAtom", Atom, [Display, ctypes.c_char_p, ctypes.c_int]),
    ("XCreateSimpleWindow", Window, [Display, Window] + [ctypes.c_int] * 2
     + [ctypes.c_uint] * 3 + [ctypes.c_ulong] * 2),
    ("XSetSelectionOwner", ctypes.c_int, [Display, Atom, Window, Time]),
    ("XSendEvent", ctypes.c_int, [Display, Window, ctypes.c_int, ctypes.c_long, ctypes.POINTER(Event)]),
    ("XChangeProperty", ctypes.c_int, [Display, Window, Atom, Atom, ctypes.c_int, ctypes.c_int,
                                       ctypes.c_char_p, ctypes.c_int]),
    ("XPending", ctypes.c_int, [Display]),
    ("XNextEvent", ctypes.c_int, [Display, ctypes.POINTER(Event)]),
    ("XConnectionNumber", ctypes.c_int, [Display]),
    ("XFlush", ctypes.c_int, [Display]),
]:
    function = getattr(x11, name)
    function.restype, function.argtypes = result, arguments


class Drag:
    def __init__(self, window, file):
        self.window, self.uri = window, (pathlib.Path(file).resolve().as_uri() + "\r\n").encode()
        self.display = x11.XOpenDisplay(None)
        root = x11.XDefaultRootWindow(self.display)
        self.own = x11.XCreateSimpleWindow(self.display, root, 0, 0, 1, 1, 0, 0, 0)
        x11.XSetSelectionOwner(self.display, self.atom(b"XdndSelection"), self.own, 0)

    def atom(self, name):
        return x11.XInternAtom(self.display, name, 0)

    def send(self, message, *data):
        event = Event()
        event.client.type, event.client.display, event.client.window = CLIENT_MESSAGE, self.display, self.window
        event.client.message, event.client.format = self.atom(message), 32
        for i, value in enumerate((self.own, *data)):
            event.client.data[i] = value
        x11.XSendEvent(self.display, self.window, 0, 0, ctypes.byref(event))
        x11.XFlush(self.display)

    def answer(self, request):
        """Gives the file's name to who asks for it."""
        x11.XChangeProperty(self.display, request.requestor, request.property, request.target, 8, 0,
                            self.uri, len(self.uri))
        event = Event()
        told = event.notify
        told.type, told.display, told.requestor = SELECTION_NOTIFY, self.display, request.requestor
        told.selection, told.target = request.selection, request.target
        told.property, told.time = request.property, request.time
        x11.XSendEvent(self.display, request.requestor, 0, 0, ctypes.byref(event))
        x11.XFlush(self.display)

    def wait(self, message):
        """Waits for a message from the window, and answers what it asks meanwhile."""
        wanted, end = self.atom(message), time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            while x11.XPending(self.display):
                event = Event()
                x11.XNextEvent(self.display, ctypes.byref(event))
                if event.type == SELECTION_REQUEST:
                    self.answer(event.request)
                elif event.type == CLIENT_MESSAGE and event.client.message == wanted:
                    return event.client.data
            select.select([x11.XConnectionNumber(self.display)], [], [], 0.1)
        return None

    def drop(self, x, y):
        self.send(b"XdndEnter", 5 << 24, self.atom(b"text/uri-list"), 0, 0)
        self.send(b"XdndPosition", 0, x << 16 | y, 0, self.atom(COPY))
        status = self.wait(b"XdndStatus")
        if status is None or not status[1] & 1:
            return False
        self.send(b"XdndDrop", 0, 0)
        return self.wait(b"XdndFinished") is not None


window, x, y = map(int, sys.argv[1:4])
sys.exit(0 if Drag(window, sys.argv[4]).drop(x, y) else 1)
