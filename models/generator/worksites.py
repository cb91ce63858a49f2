"""Worksites of Tern Yard: seats for hardware, racks, sockets, work points, and where the boots stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from crew import MEDIUM, hands_in_boots
from keel import HALF_M, MAST_TOP_M, MAST_X_M, TRACK_TOP_M, bay_middle
from modules import AIRLOCK_X_M, AXIS_Z_M, DEN_X_M, RADIUS_M
from tools import grip
from writer import Array, Robot, at, axes

from armcarry.geometry import poses

UP, DOWN = (0, 0, 1), (0, 0, -1)
PORT, STAR, BOW, STERN = (0, 1, 0), (0, -1, 0), (1, 0, 0), (-1, 0, 0)
#: the keel's side: outer face of its longerons
SIDE_M = HALF_M + 0.06


@dataclass(frozen=True)
class NearPlan:
    """Who may come how near to what at a place, and why."""

    who: str
    to: str
    at_least_m: float
    why: str


@dataclass(frozen=True)
class Site:
    """A worksite in the making: where the hands are and which way the rider faces give where the boots stand."""

    name: str
    title: str
    hands: Array
    socket: Array | None
    points: dict[str, Array]
    handrail: str
    two_hands: bool = True
    seat: str | None = None
    near: Sequence[NearPlan] = ()
    way_in: Sequence[tuple[float, float, float]] = ()
    way_in_loaded: Sequence[tuple[float, float, float]] = ()

    @property
    def stand(self) -> Array:
        """T_root_plate for which a medium rider in the carry posture has the hands at ``hands``."""
        return self.hands @ poses.inverse(hands_in_boots(MEDIUM))


@dataclass(frozen=True)
class SeatPlan:
    """A seat for hardware: frame with +x out of the structure, and what it takes."""

    name: str
    frame: Array
    accepts: Sequence[str]
    bolts: int = 0
    connectors: int = 0
    touches: Sequence[str] = field(default_factory=tuple)
    near: Sequence[NearPlan] = ()


def hands_on(seat: Array, hardware: str) -> Array:
    """Return where the hands are when the hardware sits in the seat."""
    return seat @ grip(hardware)


BOX_SEATS = {
    "rack_a_seat": axes((bay_middle(11), SIDE_M + 0.24, 0.0), PORT, UP),
    "bay_7_seat": axes((bay_middle(7), SIDE_M + 0.22, 0.0), PORT, UP),
    "bay_10_seat": axes((bay_middle(10), -SIDE_M - 0.22, 0.0), STAR, UP),
}
CAMERA_SEATS = {
    "mast_top_seat": axes((MAST_X_M, 0.0, MAST_TOP_M), UP, STERN),
    "bay_3_seat": axes((bay_middle(3), 1.90, 0.45), UP, STERN),
}
CART_X_M = {"rail_bow": 15.6, "rail_stern": -14.2}
#: the box meets its seat 5 mm before the hands are where it was taken
BOX_WAY = ((-0.9, 0.0, 0.0), (-0.005, 0.0, 0.0))
MAST_STEM = "mast_tube_high|rail_mast_2|standoff_mast_3"
BLANKET_SEATS = {
    "rack_b_seat": axes((bay_middle(10) + 0.6, SIDE_M + 0.34, 0.05), PORT, UP),
    "bay_5_seat": axes((bay_middle(5), SIDE_M + 0.34, 0.05), PORT, UP),
    "den_top_seat": axes((DEN_X_M, -6.6, AXIS_Z_M + RADIUS_M + 0.14), UP, STAR),
}


def seats() -> list[SeatPlan]:
    """Return every seat of the platform."""
    box = [
        SeatPlan(
            name, frame, ("pump_box",), 4, 0 if name == "rack_a_seat" else 1, (f"{name}_plate",), _near_box_seat(name)
        )
        for name, frame in BOX_SEATS.items()
    ]
    cameras = [
        SeatPlan("mast_top_seat", CAMERA_SEATS["mast_top_seat"], ("survey_camera",), 2, 1, ("mast_head",), [
            NearPlan("whole", "mast_head", 0.0, "the camera stands on it"),
            NearPlan("whole", MAST_STEM, 0.03, "they hold and flank the head of the mast"),
        ]),
        SeatPlan("bay_3_seat", CAMERA_SEATS["bay_3_seat"], ("survey_camera",), 2, 1, ("bay_3_seat_plate",), [
            NearPlan("whole", "bay_3_seat_plate", 0.0, "the camera stands on it"),
            NearPlan("whole", "bay_3_arm|bay_3_post", 0.03, "they carry the seat"),
            NearPlan("whole", "keel_bay_3_*|rail_keel_port_3", 0.3, "the seat stands beside the keel"),
        ]),
    ]
    soft = [
        SeatPlan(name, frame, ("thermal_blanket",), 0, 0, (f"{name}_plate",), _near_blanket_seat(name))
        for name, frame in BLANKET_SEATS.items()
    ]
    return box + cameras + soft


def _near_box_seat(name: str) -> list[NearPlan]:
    bay = {"rack_a_seat": 11, "bay_7_seat": 7, "bay_10_seat": 10}[name]
    return [
        NearPlan("whole", f"{name}_*", 0.0, "the box sits on it, its brackets beside it"),
        NearPlan("whole", f"keel_bay_{bay}_*", 0.2, "the keel stands behind the seat"),
    ]


#: bays of the keel with a handrail: side -> bays
KEEL_RAILS = {"port": range(1, 13), "star": range(4, 12)}
#: handrails of the keel that pass a folded radiator: side -> bays
PAST_RADIATORS = {"port": (8, 9, 10), "star": (4, 5, 6)}


def near_rails() -> dict[str, list[NearPlan]]:
    """Return what whoever goes along a handrail may come near to: handrail -> why and how near."""
    found = {}
    for side, bays in KEEL_RAILS.items():
        for bay in bays:
            near = [NearPlan("hands|forearms", "arm/base_*", 0.85, "the arm's foot rolls along the track beside it")]
            if bay in PAST_RADIATORS[side]:
                why = "the rail runs beside the folded radiator"
                near.append(NearPlan("hands|arms", f"radiator_{side}_sheet_*", 0.4, why))
            found[f"keel_{side}_{bay}"] = near
    return found


#: what the blanket's seats are on, and what else stands beside them
BEHIND_BLANKET = {
    "rack_b_seat": ("rack_b_board", "rack_b_locker|keel_bay_10_*"), "bay_5_seat": ("bay_5_junction", "keel_bay_5_*"),
    "den_top_seat": ("den_barrel", "rail_den_*|standoff_den_*"),
}


def _near_blanket_seat(name: str) -> list[NearPlan]:
    behind, beside = BEHIND_BLANKET[name]
    return [
        NearPlan("whole", f"{name}_plate|{behind}", 0.0, "the blanket lies on it"),
        NearPlan("whole", beside, 0.15, "it stands beside the seat"),
    ]


def _near_blanket_site(seat: str) -> list[NearPlan]:
    to = f"{seat}_plate|{BEHIND_BLANKET[seat][0]}"
    return [
        NearPlan("hands", to, 0.15, "gloves fasten the blanket"),
        NearPlan("forearms", to, 0.3, "forearms follow the gloves"),
        NearPlan("whole", "|".join((to, BEHIND_BLANKET[seat][1])), 0.4, "who reaches for the blanket bends before it"),
    ]


#: what whoever works over the track may come near to, wherever a cart stands on it
OVER_THE_TRACK = (
    NearPlan("load", "keel_*|standoff_keel_*|bay_*_bracket_*", 0.2, "keel and brackets stand beside the track"),
    NearPlan("hands|forearms", "track_*|standoff_keel_*", 0.5, "hands reach for the cart on the track"),
)


def add_seats(yard: Robot) -> None:
    """Add plates and brackets under the seats, the two racks, and the seats' frames."""
    yard.fixed("racks", "yard", at(), 420.0)
    for name, frame in BOX_SEATS.items():
        deep = 0.18 if name == "rack_a_seat" else 0.16
        yard.box("racks", f"{name}_plate", (0.06, 0.8, 0.64), frame @ at(-0.03), "seat")
        for side, y in (("left", -0.3), ("right", 0.3)):
            place = frame @ at(-0.06 - deep / 2, y)
            yard.box("racks", f"{name}_bracket_{side}", (deep, 0.08, 2.2), place, "rack")
    for name, frame in BLANKET_SEATS.items():
        yard.box("racks", f"{name}_plate", (0.06, 1.0, 0.3), frame @ at(-0.158), "seat")
    side = SIDE_M + 0.34 - 0.188
    yard.box("racks", "bay_5_junction", (1.0, 0.06, 1.3), at(bay_middle(5), side - 0.03, -0.45), "rack")
    yard.box("racks", "rack_b_board", (1.8, 0.06, 2.3), at(bay_middle(10) + 0.4, side - 0.03, 0.0), "rack")
    yard.box("racks", "rack_b_locker", (0.4, 0.45, 0.9), at(bay_middle(10) - 0.35, side + 0.225, 0.3), "rack")
    yard.box("racks", "rack_a_locker", (0.55, 0.42, 1.5), at(bay_middle(11) + 1.44, SIDE_M + 0.21, 0.0), "rack")
    yard.box("racks", "bay_3_arm", (0.12, 0.78, 0.1), at(bay_middle(3), SIDE_M + 0.36, 0.36), "rack")
    yard.box("racks", "bay_3_post", (0.1, 0.08, 2.2), at(bay_middle(3), SIDE_M + 0.01, 0.0), "rack")
    yard.cylinder(
        "racks", "bay_3_seat_plate", 0.2, (bay_middle(3), 1.90, 0.41), (bay_middle(3), 1.90, 0.45), "seat"
    )
    for plan in seats():
        yard.frame_in_root(plan.name, plan.frame)


def sites() -> list[Site]:
    """Return every worksite."""
    return [*_box_sites(), *_blanket_sites(), *_camera_sites(), *_cart_sites(), *_module_sites()]


def _socket(bay: int, sign: int) -> Array:
    """Return a socket low on the keel's side, 1.25 m to the bow of the middle of a bay."""
    return axes((bay_middle(bay) + 1.25, sign * (SIDE_M + 0.3), -HALF_M), (0, sign, 0), UP)


def _box_sites() -> list[Site]:
    plans = {
        "rack_a": ("rack_a_seat", 11, 1, "rack A, bay 11 port: where the pump box is stowed"),
        "bay_7": ("bay_7_seat", 7, 1, "bay 7 port: where the pump box goes"),
        "bay_10": ("bay_10_seat", 10, -1, "bay 10 starboard: where the spent pump box is"),
    }
    found = []
    for name, (seat, bay, sign, title) in plans.items():
        frame = BOX_SEATS[seat]
        points = {
            f"{name}_bolts_left": frame @ at(0.51, -0.31), f"{name}_bolts_right": frame @ at(0.51, 0.31),
            f"{name}_grip": frame @ at(0.58),
        }
        rail = f"keel_{'port' if sign > 0 else 'star'}_{bay}"
        near = [
            NearPlan("hands", f"{seat}_*", 0.35, "gloves work the bolts"),
            NearPlan("forearms", f"{seat}_*", 0.45, "forearms follow the gloves"),
        ]
        found.append(
            Site(name, title, hands_on(frame, "pump_box"), _socket(bay, sign), points, rail, False, seat, near,
                 way_in=BOX_WAY, way_in_loaded=BOX_WAY)
        )
    return found


def _blanket_sites() -> list[Site]:
    rack, bay, den = (BLANKET_SEATS[name] for name in ("rack_b_seat", "bay_5_seat", "den_top_seat"))
    return [
        Site("rack_b", "rack B, bay 10 port: blanket and tools", hands_on(rack, "thermal_blanket"), None,
             {"rack_b_handle": rack @ at(0.14)}, "keel_port_10", False, "rack_b_seat",
             _near_blanket_site("rack_b_seat")),
        Site("bay_5", "bay 5 port: cable junction under a thermal blanket", hands_on(bay, "thermal_blanket"), None,
             {"bay_5_snaps_left": bay @ at(0.1, -0.3), "bay_5_snaps_right": bay @ at(0.1, 0.3)}, "keel_port_5", False,
             "bay_5_seat", _near_blanket_site("bay_5_seat")),
        Site("den_top", "top of den: where the thermal blanket goes", hands_on(den, "thermal_blanket"), None,
             {"den_top_snaps_left": den @ at(0.1, -0.4), "den_top_snaps_right": den @ at(0.1, 0.4)}, "den_1", False,
             "den_top_seat", _near_blanket_site("den_top_seat")),
    ]


def _camera_sites() -> list[Site]:
    bay, mast = CAMERA_SEATS["bay_3_seat"], CAMERA_SEATS["mast_top_seat"]
    head, arm = f"mast_head|{MAST_STEM}", "bay_3_arm|bay_3_seat_plate|bay_3_post"
    before = "hands on the camera bring the body before it"
    return [
        Site("bay_3", "bay 3 port: new seat of the survey camera", hands_on(bay, "survey_camera"), _socket(3, 1),
             {"bay_3_locks": bay @ axes((0.42, 0.34, 0), PORT, UP)}, "keel_port_3", seat="bay_3_seat",
             near=[NearPlan("whole|restraint", arm, 0.35, before)],
             way_in_loaded=((-1.6, 0.0, 0.6), (0.0, 0.0, 0.6), (0.0, 0.0, 0.005))),
        Site("mast_top", "top of the mast: old seat of the survey camera", hands_on(mast, "survey_camera"), None,
             {"mast_top_locks": mast @ axes((0.42, 0.34, 0), PORT, UP)}, "mast_2", seat="mast_top_seat",
             near=[NearPlan("whole|restraint", head, 0.35, before)],
             way_in_loaded=((-1.6, 0.0, 0.9), (0.0, 0.0, 0.9), (0.0, 0.0, 0.0))),
    ]


def _cart_sites() -> list[Site]:
    found = []
    for (name, x), rail in zip(CART_X_M.items(), ("keel_port_11", "keel_port_3"), strict=True):
        seat = at(x, 0, TRACK_TOP_M, pitch=-90.0)
        title = f"track at {x:g} m: a rail cart is lifted off or set down"
        near = [NearPlan("legs|restraint", f"rail_{rail}", 0.5, "the rail runs below the boots")]
        points = {f"{name}_grip": seat @ at(0.62)}
        found.append(Site(name, title, hands_on(seat, "rail_cart"), None, points, rail, near=near))
    return found


def _module_sites() -> list[Site]:
    loft = axes((16.0, RADIUS_M + 0.22, AXIS_Z_M + 0.2), PORT, UP)
    porch = axes((AIRLOCK_X_M[0] - 0.3, 0.95, AXIS_Z_M + 0.1), STERN, UP)
    inward = axes((0, 0, 0), (-1, 0, 0), UP)
    plugs = {"loft_plug_upper": loft @ at(0.1, 0.1, 0.08), "loft_plug_lower": loft @ at(0.1, -0.1, -0.08)}
    socket = axes((17.4, RADIUS_M + 0.1, AXIS_Z_M - 0.5), PORT, UP)
    return [
        Site("loft_side", "port side of loft: cable panel", loft @ at(0.12) @ inward, socket, plugs, "loft_1"),
        Site("porch", "porch beside the hatch: getting on and off the arm", porch @ at(0.35) @ inward, None,
             {"porch_tether": porch @ at(0.12)}, "porch_post", False, near=[
                 NearPlan("whole", "airlock_barrel|airlock_hatch|airlock_rim|rail_porch_post|rail_porch_rail", 0.35,
                          "the porch is beside the hatch"),
             ]),
    ]


def add_sites(yard: Robot) -> None:
    """Add socket stubs, the panel on loft, and every worksite's frames."""
    yard.box("racks", "loft_panel", (0.9, 0.14, 0.7), at(16.0, RADIUS_M + 0.09, AXIS_Z_M + 0.2), "rack")
    for site in sites():
        yard.frame_in_root(f"{site.name}_stand", site.stand)
        for name, frame in site.points.items():
            yard.frame_in_root(name, frame)
        if site.socket is None:
            continue
        yard.frame_in_root(f"{site.name}_socket", site.socket)
        end = site.socket[:3, 3]
        start = end - 0.3 * site.socket[:3, 0]
        yard.cylinder("racks", f"{site.name}_socket_stub", 0.09, tuple(start), tuple(np.asarray(end)), "collar")
