"""A stranded rider's way home, against single routes at many instants, and the words of the findings."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks import stranded
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box
from armcarry.quantities import clock
from armcarry.record.finding import Verdict
from armcarry.timeline.handrails import find_route, rails_of
from armcarry.timeline.run import Event
from armcarry.timeline.ways_home import ways_home
from armcarry.whatif.by_arm import home_s, within_reach_s
from armcarry.whatif.stranding import TOLERANCE_M, Stranding, strandings

REACH_M = 0.75  # of the suit in conftest


def _rails(scene, spots):
    """Return frames and documents of rails between points given in the shoulder's frame at the start."""
    shoulder = scene.tree.pose_of("ev1/left_shoulder", scene.position)[:3, 3]
    frames, rails = {}, {}
    for name, (start, end) in spots.items():
        frames |= {f"{name}_a": poses.translation(shoulder + start), f"{name}_b": poses.translation(shoulder + end)}
        rails[name] = {"start": f"{name}_a", "end": f"{name}_b"}
    return frames, rails


SPOTS = {
    "near": ((0.3, 0.4, 0.0), (0.3, 3.0, 0.0)), "over": ((0.3, 3.0, 0.0), (-3.0, 3.0, 0.0)),
    "far": ((-3.5, 3.0, 0.0), (-6.0, 3.0, 0.0)),
}


@pytest.fixture
def run(rider_scene, turning_record):
    """Build a run among rails; the hatch is at the end of the last of them."""
    nothing = dict.fromkeys(("leave_restraint", "stow_held", "cross_gap", "go_in"), "0 s")

    def build(spots=SPOTS, hatch=(-6.0, 3.0, 0.4), rules=None, held=(), slides=(), **options):
        frames, rails = _rails(rider_scene({}), spots)
        shoulder = rider_scene({}).tree.pose_of("ev1/left_shoulder", rider_scene({}).position)[:3, 3]
        frames["hatch"] = poses.translation(shoulder + hatch)
        platform = {"handrails": rails, "airlock": "hatch"}
        rules = {"way_home": nothing} | (rules or {})
        scene = rider_scene({}, frames=frames, platform=platform, rules=rules, held=held, slides=slides)
        return turning_record(scene, **options)

    return build


def _by_route(record, time_s):
    """Return way and gap at an instant from single routes: the shorter of two shoulders over each rail in reach."""
    scene = record.scene
    rails = rails_of(scene.loaded.platform.document, scene.tree, scene.position)
    tree, links = record.link_poses(time_s)
    hatch = links[tree.index("platform/hatch"), :3, 3]
    shoulders = [links[tree.index(f"ev1/{side}_shoulder"), :3, 3] for side in ("left", "right")]
    apart = {r.name: min(np.linalg.norm(r.point(r.nearest(p)) - p) for p in shoulders) for r in rails}
    taken = [name for name, gap in apart.items() if gap <= REACH_M] or [min(apart, key=apart.get)]
    ways = []
    for rail in rails:
        if rail.name in taken:
            for point in shoulders:
                hold = rail.point(rail.nearest(point))
                along = find_route(rails, hold, hatch, gap_m=0.9, reach_m=1e-6).length_m
                ways.append(np.linalg.norm(hold - point) + along)
    return min(ways), max(min(apart.values()) - REACH_M, 0.0)


def test_ways_and_gaps_agree_with_single_routes(run):
    record = run(spots={name: SPOTS[name] for name in ("near", "over")}, hatch=(-3.0, 3.0, 0.0), rate_rad_s=-0.03)
    (item,) = strandings(record)
    for k in range(0, len(item.time_s), 25):
        way, gap = _by_route(record, item.time_s[k])
        assert item.gap_m[k] == pytest.approx(gap, abs=1e-9)
        assert item.way_m[k] == pytest.approx(way, abs=1e-5)
    assert item.gap_m.max() > 0.5  # the rider does leave the rail


@pytest.mark.parametrize("slides", [(), ("j1",)], ids=["turns", "slides"])
def test_the_bounds_hold_at_every_instant_and_are_close(run, slides):
    # the worst is at the very end, in the middle of no cell
    record = run(turning_s=60.0, rate_rad_s=-0.03, slides=slides, standing_s=0.01)
    (item,) = strandings(record)
    rails = rails_of(record.scene.loaded.platform.document, record.scene.tree, record.scene.position)
    hatch = record.scene.tree.pose_of("platform/hatch", record.scene.position)[:3, 3]
    home = ways_home(rails, hatch, gap_m=0.9, reach_m=1.8)
    times = np.linspace(0.0, record.duration_s, 3001)
    both = [home.holds(record.link_path(f"ev1/{side}_shoulder", times)[:, :3, 3]) for side in ("left", "right")]
    apart = np.minimum(both[0].apart_m, both[1].apart_m)
    length = np.minimum(both[0].apart_m + both[0].home_m, both[1].apart_m + both[1].home_m)
    reached = np.where(apart <= REACH_M, length, np.inf).min(axis=1)
    ways = np.where(np.isfinite(reached), reached, length[np.arange(len(times)), apart.argmin(axis=1)])
    gaps = np.maximum(apart.min(axis=1) - REACH_M, 0.0)
    assert ways.max() <= item.most_s * item.speed_m_s <= ways.max() + 2 * TOLERANCE_M
    assert gaps.max() <= item.most_gap_m <= gaps.max() + 2 * TOLERANCE_M
    assert gaps.max() > 0.5  # the rider does leave the rail


def test_a_rider_in_reach_all_the_time_passes(run):
    findings = stranded.check(run(rate_rad_s=0.0))
    assert [finding.verdict for finding in findings] == [Verdict.PASS, Verdict.PASS]
    home, rail = findings
    assert (home.subject, home.other, rail.other) == ("ev1", "airlock", "handrail")
    assert (home.limit, home.unit, rail.subject) == (1800.0, "s", "ev1")
    # 0.5 m to the rail, then 2.6 + 3.3 + gap 0.5 + 2.5 + 0.4 m
    assert home.value == pytest.approx((0.5 + 2.6 + 3.3 + 0.5 + 2.5 + 0.4) / 0.1)
    assert home.message.startswith(
        "stranded at 0:00:00.2, the worst moment, ev1 goes 9.8 m by near, over, far to the hatch, 0:01:38.0 at 0.1 m/s "
        "and 0:00:00.0 to get out of the restraint and to go in; "
    )
    assert "0:30:00.0 allowed" in home.message
    assert rail.message == "a handrail is in reach of the gloves of ev1 at every instant aboard"


def test_a_way_too_long_fails_and_says_by_how_much(run):
    home, _ = stranded.check(run(rate_rad_s=0.0, rules={"safe_return": "90 s"}))
    assert home.verdict is Verdict.FAIL
    assert (home.subject, home.other, home.limit, home.unit) == ("ev1", "airlock", 90.0, "s")
    assert home.value == pytest.approx(98.0)
    assert home.remedy == (
        "lead the carry from 0:00:00.2 to 0:00:59.8 over handrails 0.8 m nearer to the hatch, "
        "or add handrails that shorten it"
    )


@pytest.mark.parametrize(
    ("reach", "verdict", "words"),
    [
        (None, Verdict.NOT_ASSESSED, "and the rules do not say how wide a gap that may be (tether_reach)"),
        ("20 m", Verdict.PASS, "a tether or a second worker must bridge it, 20.00 m at most"),
        ("0.2 m", Verdict.FAIL, "a tether or a second worker must bridge it, 0.20 m at most"),
    ],
)
def test_a_gap_is_judged_by_the_tether(run, reach, verdict, words):
    _, gap = stranded.check(run(rules={} if reach is None else {"tether_reach": reach}, rate_rad_s=-0.03))
    assert gap.verdict is verdict
    assert words in gap.message
    assert "no handrail is in reach of ev1" in gap.message
    assert (gap.subject, gap.other, gap.unit) == ("ev1", "handrail", "m")
    assert gap.limit == (None if reach is None else float(reach.split()[0]))
    assert gap.value > 0.2
    assert ("have a second worker wait there" in gap.remedy) == (verdict is not Verdict.PASS)


def test_rails_too_far_apart_are_a_gap_too(run):
    spots = SPOTS | {"far": ((-5.0, 3.0, 0.0), (-6.0, 3.0, 0.0))}
    _, gap = stranded.check(run(spots=spots, rate_rad_s=0.0, rules={"tether_reach": "1.5 m"}))
    assert gap.verdict is Verdict.FAIL
    assert gap.value == pytest.approx(2.0)
    assert gap.message.startswith("on the way home from near handrails are 2.00 m apart")
    assert gap.remedy == "close the gap after near with a handrail, or have a second worker wait there"


def test_without_a_hatch_nothing_is_assessed(rider_scene, turning_record):
    frames, rails = _rails(rider_scene({}), SPOTS)
    record = turning_record(rider_scene({}, frames=frames, platform={"handrails": rails}))
    (finding,) = stranded.check(record)
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == "the platform has no hatch (airlock), so how ev1 would get home is not known"
    frames["hatch"] = poses.identity()
    (finding,) = stranded.check(turning_record(rider_scene({}, frames=frames, platform={"airlock": "hatch"})))
    assert "has no handrails that stand still" in finding.message
    assert finding.remedy == "name the airlock and the handrails in the platform's document"


def test_nobody_aboard_nobody_stranded(rider_scene, turning_record):
    record = turning_record(rider_scene({}, script={"crew": {}}))
    assert stranded.check(record) == ()
    assert stranded.stranded_curve(record) == ()


def test_the_curve_of_a_plot(run):
    (curve,) = stranded.stranded_curve(run())
    assert curve.crew == "ev1"
    assert len(curve.time_s) == len(curve.return_time_s) == len(curve.gap_m) >= 100
    assert np.all(np.diff(curve.time_s) > 0)
    assert np.all(curve.gap_m >= 0)


# -- what else the way home takes ----------------------------------------------------------------------------

TAKES = {"leave_restraint": "60 s", "stow_held": "2 min", "cross_gap": "5 min", "go_in": "100 s"}


def test_getting_out_and_going_in_are_counted(run):
    home, _ = stranded.check(run(rate_rad_s=0.0, rules={"way_home": TAKES}))
    assert home.value == pytest.approx(98.0 + 60.0 + 100.0)
    assert " and 0:02:40.0 to get out of the restraint and to go in; at no instant aboard more than" in home.message


@pytest.mark.parametrize(("allowed", "verdict"), [("258.1 s", Verdict.PASS), ("257.9 s", Verdict.FAIL)])
def test_the_whole_time_is_judged(run, allowed, verdict):
    home, _ = stranded.check(run(rate_rad_s=0.0, rules={"way_home": TAKES, "safe_return": allowed}))
    assert home.verdict is verdict


def test_what_is_held_is_made_fast_first(run):
    case = [Body("case", "base", Box((0.3, 0.3, 0.3)), poses.identity())]
    home, _ = stranded.check(run(rate_rad_s=0.0, rules={"way_home": TAKES}, held=case))
    assert home.value == pytest.approx(98.0 + 60.0 + 100.0 + 120.0)
    assert " and 0:04:40.0 to make load fast, to get out of the restraint and to go in; " in home.message


def test_each_gap_that_needs_help_is_counted(run):
    apart = SPOTS | {"far": ((-5.0, 3.0, 0.0), (-6.0, 3.0, 0.0))}
    (plain,) = strandings(run(spots=apart, rate_rad_s=0.0))
    (item,) = strandings(run(spots=apart, rate_rad_s=0.0, rules={"way_home": TAKES}))
    assert item.return_time_s - plain.return_time_s == pytest.approx(60.0 + 100.0 + 300.0)
    home, _ = stranded.check(run(spots=apart, rate_rad_s=0.0, rules={"way_home": TAKES}))
    assert "to get out of the restraint, to cross with help what gloves cannot bridge and to go in; " in home.message
    # rails that neither gloves reach nor the hatch is near are two more
    far = {name: tuple(tuple(np.add(end, (0.0, 0.0, 3.0))) for end in ends) for name, ends in apart.items()}
    (both,) = strandings(run(spots=far, rate_rad_s=0.0, rules={"way_home": TAKES}))
    (neither,) = strandings(run(spots=far, rate_rad_s=0.0))
    assert both.return_time_s - neither.return_time_s == pytest.approx(60.0 + 100.0 + 900.0)


def test_a_gap_to_the_rail_however_small_takes_help(run):
    spots = {name: SPOTS[name] for name in ("near", "over")}
    (item,) = strandings(run(spots=spots, hatch=(-3.0, 3.0, 0.0), rate_rad_s=-0.03, rules={"way_home": TAKES}))
    small = (item.gap_m > 0.0) & (item.gap_m < 1.0)
    assert small.any() and (item.gap_m == 0.0).any()
    np.testing.assert_allclose(item.extra_s, 160.0 + 300.0 * (item.gap_m > 0.0))


def test_the_way_of_the_nearer_shoulder_is_told(run, rider_scene):
    """Two ways lead from the ends of one rail, a shoulder nearer to each; the left one is 0.2 m shorter in all."""
    scene = rider_scene({})
    left, right = (scene.tree.pose_of(f"ev1/{side}_shoulder", scene.position)[:3, 3] for side in ("left", "right"))
    over = (right - left) / np.linalg.norm(right - left)
    ahead = np.cross(over, (0.0, 0.0, 1.0))

    def at(along_m, ahead_m):
        return tuple(along_m * over + ahead_m * ahead)

    spots = {"grip": (at(-1.0, 0.4), at(1.4, 0.4)), "by_left": (at(-1.0, 0.9), at(-1.0, 3.0)),
             "by_right": (at(1.4, 0.9), at(1.4, 3.0)), "home": (at(-1.0, 3.0), at(1.4, 3.0))}  # fmt: skip
    (item,) = strandings(run(spots=spots, hatch=at(0.1, 3.0), rate_rad_s=0.0))
    assert {row[:2] for row in item.ways} == {("grip", "by_left")}


def test_the_next_tether_is_hooked_each_time_the_last_one_ends(run):
    takes, length = TAKES | {"tether_change": "30 s"}, {"person": "4 m"}
    home, _ = stranded.check(run(rate_rad_s=0.0, rules={"way_home": takes, "tethers": length}))
    assert home.value == pytest.approx(98.0 + 60.0 + 100.0 + 2 * 30.0)  # 9.8 m on tethers of 4 m
    assert " to get out of the restraint, to change tethers 2 times and to go in; " in home.message
    none, _ = stranded.check(run(rate_rad_s=0.0, rules={"way_home": takes, "tethers": {"person": "9.9 m"}}))
    assert none.value == pytest.approx(98.0 + 60.0 + 100.0)
    # while the way grows over a tether's length the bound is above all that is seen, and close
    (item,) = strandings(run(rate_rad_s=-0.01, rules={"way_home": takes, "tethers": length, "tether_reach": "9 m"}))
    assert item.return_time_s.max() <= item.most_s <= item.return_time_s.max() + 2 * TOLERANCE_M / item.speed_m_s


def test_an_arm_that_still_works_brings_its_rider_back_to_a_handrail(run):
    record = run(spots={"near": SPOTS["near"]}, hatch=(0.3, 3.0, 0.0), rate_rad_s=-0.03, rules={"tether_reach": "9 m"})
    (item,) = strandings(record)
    left_s = float(item.time_s[item.gap_m <= 1e-6].max())
    takes_s = within_reach_s(record, item)
    out = item.gap_m > 1e-6
    assert not takes_s[~out].any()
    # back along the way it came; while it stands, since 40 s, it gets no farther away
    np.testing.assert_allclose(takes_s[out], np.minimum(item.time_s[out], 40.0) - left_s)
    _, rail = stranded.check(record)
    words = f"; an arm that still works brings ev1 to one, on or back on its own way, in {clock(40.0 - left_s)} at most"
    assert rail.message.endswith(words)
    cut = replace(record, events=(Event(left_s + 1.0, "attach", "load", "ev1/hands", 0.0, 0.0),))
    gone = item.time_s >= left_s + 1.0
    assert np.isinf(within_reach_s(cut, item)[gone]).all()
    _, rail = stranded.check(cut)
    assert rail.message.endswith(f" at most, but from {int(gone.sum())} of {len(gone)} instants not")


SAFE = {"arm_safe": {"brakes": "1 s", "mode_change": "2 s", "check": "0 s", "call": "0 s"}}  # 3 s ready, 1 s safe


@pytest.mark.parametrize(("rules", "around_s"), [({}, 0.0), (SAFE, 4.0)])
def test_the_least_time_home_may_begin_with_a_ride(run, rules, around_s):
    """Against every pair of instants: a ride from one to the other as it was flown, then the own way from there."""
    spots = {"near": SPOTS["near"]}
    record = run(spots=spots, hatch=(0.3, 3.0, 0.0), rate_rad_s=-0.03, rules={"way_home": TAKES} | rules)
    (item,) = strandings(record)
    moved = np.minimum(item.time_s, 40.0)  # it stands since then
    rides = np.abs(moved[:, None] - moved) + around_s + item.return_time_s
    least = np.minimum(item.return_time_s, rides.min(axis=1))
    np.testing.assert_allclose(home_s(record, item), least)
    assert (least < item.return_time_s - 60.0).any()  # back to the rail, not across the gap
    home, _ = stranded.check(record)
    assert f"; while the arm works ev1 is inside in {clock(float(least.max()))} at most of " in home.message
    cut = replace(record, events=(Event(20.0, "attach", "load", "ev1/hands", 0.0, 0.0),))
    part = item.time_s >= 20.0
    own = np.where(part[:, None] == part, rides, np.inf).min(axis=1)
    np.testing.assert_allclose(home_s(cut, item), np.minimum(item.return_time_s, own))
    left = replace(item, crew="nobody")
    np.testing.assert_array_equal(home_s(record, left), item.return_time_s)  # not aboard: by the own way alone


def test_the_worst_instant_may_be_one_with_a_gap(run):
    """The arm swings off the rail: there a shorter way takes longer."""
    record = run(spots={"near": SPOTS["near"]}, hatch=(0.3, 3.0, 0.0), rate_rad_s=-0.03, rules={"way_home": TAKES})
    (item,) = strandings(record)
    k = int(item.return_time_s.argmax())
    assert item.gap_m[k] > 0
    assert item.return_time_s.max() <= item.most_s <= item.return_time_s.max() + 2 * TOLERANCE_M / item.speed_m_s
    assert item.gap_m.min() == 0.0


def test_rules_that_do_not_say_leave_the_time_home_open(run):
    home, _ = stranded.check(run(rate_rad_s=0.0, rules={"way_home": None}))
    assert home.verdict is Verdict.NOT_ASSESSED
    assert home.message.endswith(
        "0:01:38.0 at 0.1 m/s; how long getting out of the restraint, crossing gaps, making fast what is held and "
        "going in take the rules do not say"
    )
    assert home.remedy == "state way_home in the rules"
    late, _ = stranded.check(run(rate_rad_s=0.0, rules={"way_home": None, "safe_return": "90 s"}))
    assert late.verdict is Verdict.FAIL  # the way alone is too long


def test_either_shoulder_takes_hold_of_a_rail(run):
    """The same rails on the other side are as near to the right shoulder as they were to the left."""
    other = {name: tuple((x, -y - 0.4, z) for x, y, z in ends) for name, ends in SPOTS.items()}
    (left,) = strandings(run(rate_rad_s=0.0))
    (right,) = strandings(run(spots=other, hatch=(-6.0, -3.4, 0.4), rate_rad_s=0.0))
    np.testing.assert_allclose(right.way_m, left.way_m)
    assert right.ways == left.ways and set(right.rail) == set(left.rail) == {"near"}
    assert right.most_s == pytest.approx(left.most_s)


def test_where_rules_do_not_say_gaps_cost_no_time(run):
    far = {name: tuple(tuple(np.add(end, (0.0, 0.0, 3.0))) for end in ends) for name, ends in SPOTS.items()}
    (item,) = strandings(run(spots=far, rate_rad_s=0.0, rules={"way_home": None}))
    assert item.gap_m.min() > 0
    np.testing.assert_allclose(item.return_time_s, item.way_m / item.speed_m_s)
    assert not item.extra_s.any()
    # the bound between instants adds what the shoulders can move, in the time that takes to go: nothing moves here
    assert item.most_s == pytest.approx(item.return_time_s.max())


# -- the words, of instants given by hand --------------------------------------------------------------------


def _stranding(**more):
    """A rider at 1, 2, 3, 4 s: worst home at 3 s, widest gap at 2 s, home along many rails."""
    long = ("one", "two", "three", "four", "five")
    given = {
        "crew": "ev1", "time_s": np.arange(1.0, 5.0), "way_m": np.array([1.0, 2.0, 3.04, 4.0]),
        "gap_m": np.array([0.0, 0.456, 0.3, 0.0]), "rail_gap_m": np.zeros(4),
        "return_time_s": np.array([10.0, 20.0, 40.0, 30.0]), "extra_s": np.array([1.0, 2.0, 9.6, 4.0]),
        "rail": ("r1", "r2", "r3", "r4"), "ways": (("one",), ("one", "two"), long, long[:4]),
        "most_s": 41.5, "most_gap_m": 0.512, "speed_m_s": 0.1,
    }
    return Stranding(**given | more)


@pytest.fixture
def worded(rider_scene, turning_record, monkeypatch):
    """Tell one stranding under given rules."""

    def build(rules=None, **more):
        monkeypatch.setattr(stranded, "strandings", lambda _: (_stranding(**more),))
        return stranded.check(turning_record(rider_scene({}, rules=rules)))

    return build


def test_the_worst_instant_is_told_with_its_own_way(worded):
    home, _ = worded({"way_home": TAKES, "safe_return": "41 s"})
    assert home.message == (
        "stranded at 0:00:03.0, the worst moment, ev1 goes 3.1 m by one, two, ... five (5 handrails) to the hatch, "
        "0:00:30.4 at 0.1 m/s and 0:00:09.6 to get out of the restraint, to cross with help what gloves cannot bridge "
        "and to go in; at no instant aboard more than 0:00:41.5, 0:00:41.0 allowed; while the arm works ev1 is "
        "inside in 0:00:13.0 at most of 4 instants looked at, at 0:00:03.0 in 0:00:12.0: the arm first goes on or back "
        "along its own way, at its own pace"
    )
    assert (home.value, home.limit, home.unit, home.start_s, home.end_s) == (41.5, 41.0, "s", 3.0, 3.0)
    assert home.remedy == (
        "lead the carry over handrails 0.1 m nearer to the hatch, or add handrails that shorten it"
    )  # at no instant looked at is it too long, only between two
    home, _ = worded({"way_home": TAKES, "safe_return": "25 s"})
    assert home.remedy.startswith("lead the carry from 0:00:03.0 to 0:00:04.0 over handrails 1.7 m nearer ")


def test_what_rules_do_not_say_is_told_with_what_is_known(worded):
    home, _ = worded({"way_home": None})
    assert (home.value, home.limit, home.unit, home.start_s, home.other) == (41.5, 1800.0, "s", 3.0, "airlock")
    assert " and 0:00:09.6" not in home.message


def test_the_widest_gap_is_told_where_it_is_and_how_long_one_is_open(worded):
    _, gap = worded({"tether_reach": "0.5 m"})
    assert gap.message == (
        "for 0:00:01.0 no handrail is in reach of ev1; at 0:00:02.0 the nearest, r2, is 0.46 m from the gloves (never "
        "more than 0.52 m); a tether or a second worker must bridge it, 0.50 m at most; an arm that still works brings "
        "ev1 to one, on or back on its own way, in 0:00:01.0 at most"
    )
    assert gap.remedy == (
        "lead the carry nearer to r2 within 0.5 m of it, have a second worker wait there, or give the rider a tether "
        "of 0.6 m to it"
    )
    assert (gap.value, gap.limit, gap.unit, gap.start_s, gap.other) == (0.512, 0.5, "m", 2.0, "handrail")
    _, open_ = worded()
    assert open_.message.endswith(
        "; a tether or a second worker must bridge it, and the rules do not say how wide a gap that may be "
        "(tether_reach)"
    )
    assert open_.remedy.startswith("lead the carry nearer to r2, have a second worker ")


def test_a_gap_between_handrails_counts_where_it_is_the_wider(worded):
    rail = np.array([0.0, 0.456, 0.9, 0.0])
    _, gap = worded({"tether_reach": "0.5 m"}, rail_gap_m=rail)
    assert (gap.value, gap.start_s) == (0.9, 3.0)
    assert gap.message.startswith("on the way home from r3 handrails are 0.90 m apart; ")
    assert gap.remedy == "close the gap after r3 with a handrail, or have a second worker wait there"
    _, same = worded({"tether_reach": "0.5 m"}, rail_gap_m=np.minimum(rail, 0.456))
    assert "the nearest, r2, is" in same.message and same.remedy.startswith("lead the carry nearer to r2 ")


def test_no_gap_is_told_with_the_gap_that_would_be_bridged(worded):
    nothing = {"gap_m": np.zeros(4), "most_gap_m": 0.0}
    _, gap = worded({"tether_reach": "0.5 m"}, **nothing)
    assert (gap.verdict, gap.value, gap.limit, gap.unit, gap.start_s) == (Verdict.PASS, 0.0, 0.5, "m", 1.0)
    _, tiny = worded({"tether_reach": "0.5 m"}, **nothing | {"most_gap_m": 1e-6})
    assert tiny.message.startswith("a handrail is in reach")
