"""Every key of the window: one table that the window obeys, the buttons show and the help page prints; no Qt."""

from __future__ import annotations

from dataclasses import dataclass

GROUPS = ("time", "jump", "look", "show", "room")
HEADINGS = {
    "time": "Time", "jump": "Jump", "look": "Look from", "show": "Show or hide", "room": "Window and files",
}


@dataclass(frozen=True)
class Key:
    """One action and the keys that do it.

    ``names`` are what is typed (``n``, ``?``) or the name of a key without a letter (``Space``, ``Shift+Left``).
    """

    action: str
    names: tuple[str, ...]
    words: str
    group: str

    @property
    def shown(self) -> str:
        """The keys as people read them."""
        return " or ".join(_shown(name) for name in self.names[:2])


KEYS = (
    Key("toggle", ("Space",), "play or pause", "time"),
    Key("frame_on", ("Right",), "one frame on", "time"),
    Key("frame_back", ("Left",), "one frame back", "time"),
    Key("move_on", ("Shift+Right",), "to the next move", "time"),
    Key("move_back", ("Shift+Left",), "to the move before", "time"),
    Key("half_minute_on", ("PageDown",), "30 s on", "time"),
    Key("half_minute_back", ("PageUp",), "30 s back", "time"),
    Key("to_start", ("Home",), "to the start", "time"),
    Key("to_end", ("End",), "to the end", "time"),
    Key("faster", ("+", "="), "faster, up to 60 x", "time"),
    Key("slower", ("-",), "slower, down to 0.25 x", "time"),
    Key("plain_speed", ("0",), "speed of life", "time"),
    Key("skip", ("q",), "let what stands still pass quickly", "time"),
    Key("type_time", ("g",), "go to an instant you type, as 12:30", "time"),
    Key("tightest", ("t",), "tightest moment of the run", "jump"),
    Key("finding_on", ("n",), "next finding", "jump"),
    Key("finding_back", ("N",), "finding before", "jump"),
    Key("bookmark", ("B",), "keep a bookmark of this view", "jump"),
    Key("bookmark_on", (".",), "next bookmark", "jump"),
    Key("bookmark_back", (",",), "bookmark before", "jump"),
    Key("gap", ("z",), "look at the closest pair as it is now", "jump"),
    Key("free", ("f",), "free orbit; drag with the mouse", "look"),
    Key("eyes", ("e",), "rider's eyes, then the next crewmember's", "look"),
    Key("camera_on", ("c",), "next camera", "look"),
    Key("camera_back", ("C",), "camera before", "look"),
    Key("follow", ("a",), "along with the arm's tip", "look"),
    Key("overview", ("v",), "all of it", "look"),
    Key("orbit_left", ("Ctrl+Left",), "turn left round the middle", "look"),
    Key("orbit_right", ("Ctrl+Right",), "turn right", "look"),
    Key("orbit_up", ("Ctrl+Up",), "higher", "look"),
    Key("orbit_down", ("Ctrl+Down",), "lower", "look"),
    Key("nearer", ("Ctrl++", "Ctrl+="), "nearer", "look"),
    Key("farther", ("Ctrl+-",), "farther", "look"),
    Key("show_closest", ("l",), "line between the closest pair", "show"),
    Key("show_margin", ("m",), "parts tinted by margin", "show"),
    Key("show_shell", ("s",), "shell of the required clearance", "show"),
    Key("show_envelope", ("r",), "room swept over the run", "show"),
    Key("show_map", ("i",), "closest approach on the structure", "show"),
    Key("show_proven", ("k",), "people as the bodies that were proven", "show"),
    Key("show_measure", ("d",), "distance between any two bodies, now", "show"),
    Key("show_corner", ("u",), "what somebody sees, in the corner", "show"),
    Key("corner_on", ("U",), "next eyes or camera in the corner", "show"),
    Key("show_rails", ("h",), "handrails", "show"),
    Key("show_sites", ("w",), "worksites", "show"),
    Key("show_frames", ("x",), "frames", "show"),
    Key("show_path", ("W",), "planned path and the places along it", "show"),
    Key("show_plan", ("I",), "map of the platform with people on it", "show"),
    Key("show_cones", ("E",), "what cameras and eyes see", "show"),
    Key("show_rooms", ("R",), "rooms to keep out of, or to leave one way", "show"),
    Key("show_stop", ("S",), "where all stops if told to now", "show"),
    Key("show_cut", ("X",), "cut through what the view turns round", "show"),
    Key("show_other", ("o",), "second run", "show"),
    Key("panels", ("p",), "panels and plots", "show"),
    Key("plot_on", ("j",), "clearance, joints or rates", "show"),
    Key("row_on", ("]",), "next line of the plot's table", "show"),
    Key("row_back", ("[",), "line before", "show"),
    Key("day", ("y",), "next timeline: moves, hands, the day", "show"),
    Key("briefing", ("b",), "briefing mode: full screen, large captions", "room"),
    Key("full_screen", ("F11",), "full screen", "room"),
    Key("picture", ("Ctrl+S",), "save a picture of this view", "room"),
    Key("movie", ("Ctrl+M",), "save a movie from this view", "room"),
    Key("help", ("?", "F1"), "this page", "room"),
    Key("leave", ("Escape",), "leave help, briefing or full screen", "room"),
    Key("quit", ("Ctrl+Q",), "close the window", "room"),
)

#: the layer of the 3-D view that an action shows or hides
LAYER_OF = {
    "show_shell": "shell", "show_envelope": "envelope", "show_map": "map", "show_rails": "rails",
    "show_sites": "sites", "show_frames": "frames", "show_path": "path", "show_plan": "plan", "show_cones": "cones",
    "show_cut": "cut", "show_stop": "stop", "show_rooms": "rooms",
}
ACTION_OF = {name: key.action for key in KEYS for name in key.names}
KEY_OF = {key.action: key for key in KEYS}

_ARROWS = {"Left": "←", "Right": "→", "Up": "↑", "Down": "↓", "PageDown": "Page down", "PageUp": "Page up",
           "Escape": "Esc"}


def _shown(name: str) -> str:
    if len(name) == 1:
        return f"Shift {name.lower()}" if name.isupper() else name
    head, plus, last = name.rpartition("+") if not name.endswith("++") else (name[:-2], "+", "+")
    last = _ARROWS.get(last, last)
    return f"{head} {last}" if plus and head else last


def tip(action: str, words: str = "") -> str:
    """Return what a button's tip says: what it does, and its key."""
    key = KEY_OF[action]
    return f"{words or key.words}  ({key.shown})"
