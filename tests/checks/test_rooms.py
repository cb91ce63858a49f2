"""Rooms beside a rider who is led 0.5 m straight up: into a room by a millimetre, and past it by one."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.rooms import SIDES, WALL_M, asked_rooms, parts_of
from armcarry.checks import rooms, runaway, stopping
from armcarry.clearance.distance import distance
from armcarry.files.documents.rooms import Room
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.proving.rooms import on_spans, room_rows
from armcarry.record.finding import Verdict

HELMET_M, UP_M_S, LASTS_S = 0.16, 0.05, 10.0
MM = 0.001


@pytest.fixture
def judged(rider_scene, moving_record):
    """Judge the way up beside rooms, each told by where it is over the top of the way of the helmet's middle."""

    def build(rooms_of, *, script=None, steps=None, **more):
        helmet = poses.translation(_top(rider_scene))
        platform, frames = {"rooms": rooms_of, **more.pop("platform", {})}, {"top": helmet, **more.pop("frames", {})}
        scene = rider_scene({}, frames=frames, slides=("j1",), platform=platform, script=script, **more)
        record = moving_record(scene, {"arm/j1": [UP_M_S]}, LASTS_S)
        if steps is not None:
            slots = [SimpleNamespace(name=name, start_s=a, end_s=b) for name, (a, b) in steps.items()]
            record.__dict__["plan"] = SimpleNamespace(schedule=SimpleNamespace(slots=slots))
        return record

    return build


def _top(rider_scene):
    scene = rider_scene({}, slides=("j1",))
    k = next(k for k, body in enumerate(scene.tree.bodies) if body.name == "ev1/helmet")
    body = scene.tree.bodies[k]
    at = scene.tree.pose_of(body.link, scene.position) @ body.pose
    return at[:3, 3] + np.array([0.0, 0.0, UP_M_S * LASTS_S])


def _m(*values):
    return [f"{value} m" for value in values]


def _from(gap, **keys):
    return keys | {"position": _m(0, 0, HELMET_M + gap)}


#: shape -> its keys, its nearest point the given distance above the top of the helmet
SHAPES = {
    "box": lambda gap: _from(gap + 0.5, box=_m(2, 2, 1)),
    "ball": lambda gap: _from(gap + 0.4, radius="0.4 m"),
    "cylinder": lambda gap: _from(gap, radius="0.4 m", length="1 m"),
    "cone": lambda gap: _from(gap, radius="0.1 m", end_radius="0.8 m", length="1 m"),
    "point": lambda gap: _from(gap, radius="0 m", end_radius="0.3 m", length="1 m"),
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("at_least_m", [0.0, 0.3])
def test_a_millimetre_too_near_fails_and_a_millimetre_clear_passes(judged, shape, at_least_m):
    for beyond_m, verdict in ((-2 * MM, Verdict.FAIL), (2 * MM, Verdict.PASS)):
        keys = SHAPES[shape](at_least_m + beyond_m)
        room = {"kind": "hot", "frame": "top", "who": "ev1/helmet", "at_least": f"{at_least_m} m", **keys}
        (found,) = rooms.check(judged({"heater": room}))
        assert (found.verdict, found.subject, found.other) == (verdict, "heater", "ev1/helmet"), found.message
        assert found.start_s == pytest.approx(LASTS_S, abs=0.1)
        if at_least_m or verdict is Verdict.PASS:
            assert found.value == pytest.approx(at_least_m + beyond_m, abs=MM)


def test_a_finding_names_the_room_what_it_is_and_who_comes_in_when(judged):
    room = {"kind": "thruster", "frame": "top", "radius": "0.2 m", "end_radius": "1 m", "length": "4 m",
            "position": _m(0, 0, -0.1), "why": "it may fire at any time"}  # fmt: skip
    (rider,) = rooms.check(judged({"loft_plume": room | {"who": "rider"}}))
    assert rider.verdict is Verdict.FAIL
    assert "comes into loft_plume (a thruster, 4.00 m long: it may fire at any time) at 0:00:0" in rider.message
    assert rider.remedy == "lead the way round it (via, another approach, armcarry route); the room stands in none"
    above = {"position": _m(0, 0, 0.3), "who": "ev1/helmet", "at_least": "0.5 m"}
    (near,) = rooms.check(judged({"plume": room | above}))
    assert "ev1/helmet comes as near to plume (a thruster, 4.00 m long: it may fire at any time) as 0.1" in near.message
    assert "0.500 m is to be kept" in near.message
    (clear,) = rooms.check(judged({"plume": room | {"position": _m(0, 0, 3), "who": "ev1/helmet"}}))
    said = "plume (a thruster, 4.00 m long: it may fire at any time)"
    assert clear.message.startswith(f"nobody comes nearer to {said} than ev1/helmet, ")


def test_each_who_comes_in_is_told_apart_and_the_others_pass(judged):
    room = {"kind": "keep_out", "frame": "top", "box": _m(9, 9, 9)}
    findings = rooms.check(judged({"all": room, "far": room | {"position": _m(90, 0, 0)}}))
    assert [(one.subject, one.other.split("/")[0]) for one in findings if one.verdict is Verdict.FAIL] == [
        ("all", "arm"), ("all", "restraint"), ("all", "ev1")
    ]  # fmt: skip
    assert [one.subject for one in findings if one.verdict is Verdict.PASS] == ["far"]


def test_people_alone_are_asked_to_touch_nothing_hot_and_everything_to_keep_out(judged):
    room = {"kind": "hot", "frame": "top", "box": _m(9, 9, 9)}
    everything = {"ev1", "arm", "restraint"}
    for kind, whom in (("hot", {"ev1"}), ("cold", {"ev1"}), ("sharp_edge", {"ev1"}), ("keep_out", everything),
                       ("emitter", everything), ("thruster", everything)):  # fmt: skip
        rows = room_rows(judged({"room": room | {"kind": kind}}))
        assert {row.body.split("/")[0] for row in rows} == whom


def test_an_item_in_its_seat_and_who_is_inside_are_not_asked(judged):
    room = {"room": {"kind": "keep_out", "frame": "top", "box": _m(9, 9, 9), "who": "load/*|hardware|ev2/*|worker"}}
    load = {"held": [Body("box", "base", Sphere(0.1), poses.identity())]}
    held = rooms.check(judged(room, **load))
    assert [(one.verdict, one.other) for one in held] == [(Verdict.FAIL, "load/box")]
    seat = {"platform": {"seats": {"place": {"frame": "seat", "accepts": ["load"]}}, "airlock": "seat"},
            "frames": {"seat": poses.identity()}}  # fmt: skip
    there = {"hardware": {"load": {"model": "load", "at": "platform/seat"}}}
    (found,) = rooms.check(judged(room, script=there, worker_at="platform/seat", **load, **seat))
    assert found.verdict is Verdict.PASS
    assert found.message == "room (a room to keep out of): nothing that fits 'load/*|hardware|ev2/*|worker' is " \
                            "outside at any instant"  # fmt: skip


def test_a_way_along_is_left_by_its_ends_alone(judged):
    across = {"kind": "way_along", "frame": "top", "who": "ev1/helmet", "box": _m(4, 1, 1), "position": _m(0, 0, -0.5)}
    (found,) = rooms.check(judged({"lane": across}))
    assert (found.verdict, found.other) == (Verdict.FAIL, "ev1/helmet")
    assert "passes a wall of lane (the way along) at 0:00:0" in found.message
    assert found.remedy.startswith("come and go along the x axis of lane, within its walls")
    upright = {"rotation": ["0 deg", "90 deg", "0 deg"]}
    (along,) = rooms.check(judged({"lane": across | upright}))
    assert along.verdict is Verdict.PASS
    assert along.value == pytest.approx(0.5 - HELMET_M, abs=2 * MM)
    for beside_m, verdict in ((0.5 - HELMET_M - 2 * MM, Verdict.PASS), (0.5 - HELMET_M + 2 * MM, Verdict.FAIL)):
        (aside,) = rooms.check(judged({"lane": across | upright | {"position": _m(0, beside_m, -0.5)}}))
        assert aside.verdict is verdict


def test_what_is_switched_off_asks_nothing_meanwhile(judged):
    room = {"beam": {"kind": "emitter", "frame": "top", "who": "ev1/helmet", "while_on": "dish", **SHAPES["box"](-0.1)}}
    (on,) = rooms.check(judged(room))
    assert on.verdict is Verdict.FAIL
    assert on.remedy.startswith("lead the way round it (via, another approach, armcarry route), or switch dish off")
    (off,) = rooms.check(judged(room, script={"switched_off": {"dish": {}}}))
    assert (off.verdict, off.message) == (Verdict.PASS, "beam (an emitter): dish is switched off all through")
    inside_s = LASTS_S - 0.1 / UP_M_S  # from when on the helmet is in it
    for before_s, verdict in ((inside_s - 0.1, Verdict.PASS), (inside_s + 0.1, Verdict.FAIL)):
        steps = {"shut": (before_s - 1.0, before_s)}
        record = judged(room, script={"switched_off": {"dish": {"after": "shut"}}}, steps=steps)
        (found,) = rooms.check(record)
        assert found.verdict is verdict
        assert on_spans(record, "dish") == [(0.0, before_s)]
    both = {"switched_off": {"dish": {"after": "shut", "before": "open"}}}
    steps = {"shut": (1.0, 2.0), "open": (9.0, 9.5)}
    record = judged(room, script=both, steps=steps)
    assert on_spans(record, "dish") == [(0.0, 2.0), (9.0, 10.0)]
    assert [(row.start_s, row.end_s, row.inside) for row in room_rows(record)] == [(0.0, 2.0, False), (9.0, 10.0, True)]
    del steps["shut"]  # a step that is not done switches nothing off
    assert on_spans(judged(room, script=both, steps=steps), "dish") == [(0.0, 10.0)]
    assert on_spans(record, None) == [(0.0, 10.0)]


def test_a_platform_without_rooms_has_no_finding(judged):
    assert rooms.check(judged({})) == ()


def test_a_cone_lies_within_its_prism_and_walls_leave_the_way_free():
    says = {"kind": "thruster", "frame": "f", "radius": "0.2 m", "end_radius": "1 m", "length": "2 m"}
    cone = Room.model_validate(says)
    ((shape, pose),) = parts_of(cone)
    for along, radius in ((0.0, 0.2), (1.0, 0.6), (2.0, 1.0)):
        for angle in np.linspace(0.0, 2 * np.pi, 3 * SIDES + 1):
            point = poses.translation((radius * np.cos(angle), radius * np.sin(angle), along))
            assert distance(shape, pose, Sphere(0.0), point).upper_m == pytest.approx(0.0, abs=1e-6)
    way = Room.model_validate({"kind": "way_along", "frame": "f", "box": _m(4, 1, 2)})
    free = [distance(shape, pose, Sphere(0.0), poses.translation((1.9, 0.0, 0.0))) for shape, pose in parts_of(way)]
    assert [one.upper_m for one in free] == pytest.approx([0.5, 0.5, 1.0, 1.0], abs=1e-6)
    assert WALL_M > 0.0


def test_rooms_stand_behind_all_bodies_and_move_with_their_frame(judged):
    scene = judged({"one": {"kind": "keep_out", "frame": "top", "radius": "1 m"}}).scene
    asked = asked_rooms(scene, scene.tree)
    count = len(scene.tree.bodies)
    assert asked.tree.bodies[:count] == scene.tree.bodies or len(asked.tree.bodies) == count + 1
    assert asked.tree.bodies[count].link == "room one/room"
    assert (asked.pairs[:, 1] == count).all()
    assert asked.tree.joints == scene.tree.joints


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({}, "a room needs one of: box, radius"),
        ({"box": _m(1, 1, 1), "radius": "1 m"}, "a room needs one of: box, radius"),
        ({"box": _m(1, 1, 1), "length": "1 m"}, "length and end_radius go with radius, not with box"),
        ({"radius": "1 m", "end_radius": "2 m"}, "end_radius needs length"),
        ({"radius": "0 m", "length": "2 m", "end_radius": "0 m"}, "a room needs a radius of more than 0 m"),
        ({"radius": "0 m", "length": "2 m"}, "a room needs a radius of more than 0 m"),
        ({"kind": "way_along", "radius": "1 m"}, "way_along needs box"),
    ],
)
def test_a_room_has_one_shape(keys, words):
    with pytest.raises(ValueError, match=words):
        Room.model_validate({"kind": "keep_out", "frame": "f"} | keys)


def test_a_stop_that_runs_out_into_a_room_fails_where_the_way_itself_keeps_out(judged):
    room = SHAPES["box"](0.004) | {"kind": "thruster", "frame": "top", "who": "ev1/helmet"}
    record = judged({"plume": room})
    assert [finding.verdict for finding in rooms.check(record)] == [Verdict.PASS]
    short = [finding for finding in stopping.check(record) if "room plume/part_0" in finding.message]
    assert short and short[0].verdict is Verdict.FAIL and short[0].limit == pytest.approx(MM)
    off = judged({"plume": room | {"while_on": "jets"}}, script={"switched_off": {"jets": {}}})
    assert not any("room plume" in finding.message for finding in stopping.check(off))


def test_a_joint_that_runs_away_is_held_to_rooms_while_they_are_on(judged):
    room = SHAPES["box"](0.004) | {"kind": "thruster", "frame": "top", "who": "ev1/helmet"}
    arm = {"runaway_rate": {"default": "4 deg/s", "j1": "0.1 m/s"}}
    short = [finding for finding in runaway.check(judged({"plume": room}, arm=arm)) if finding.verdict is Verdict.FAIL]
    assert any("room plume/part_0" in finding.message for finding in short)
    off = judged({"plume": room | {"while_on": "jets"}}, arm=arm, script={"switched_off": {"jets": {}}})
    assert not any("room plume" in finding.message for finding in runaway.check(off))
