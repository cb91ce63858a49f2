"""Which of several searches is kept, by what the checks say of it."""

from types import SimpleNamespace

import pytest

from armcarry.planning import passing
from armcarry.record.finding import Finding, Verdict

SOURCE, TARGET = "script.yaml", "new.yaml"


def _finding(check, subject="arm"):
    return Finding(check, Verdict.FAIL, subject, "it fails")


@pytest.fixture
def searched(monkeypatch):
    """Play searches whose written scenarios fail given checks; tell what was written last and what was rehearsed."""

    def play(fails, script=(), new=1):
        seen = SimpleNamespace(seeds=[], written=None, rehearsed=[])

        def find_routes(scene, *, carry, seed, nearer_m, tell):
            seen.seeds.append(seed)
            assert nearer_m == pytest.approx((seed - 5) * passing.NEARER_M)
            return (SimpleNamespace(seed=seed, way=SimpleNamespace(free=True)),)

        def write_routes(stretches, source, target):
            seen.written = stretches[0].seed
            return new

        def rehearse(path, progress):
            seen.rehearsed.append(path.name)
            return path.name

        def judge(name):
            return script if name == SOURCE else fails[seen.seeds[-1]]

        for function in (find_routes, write_routes):
            monkeypatch.setattr(passing, function.__name__, function)
        path = SimpleNamespace
        source, target = path(name=SOURCE), path(name=TARGET)
        routed = passing.write_passing(None, source, target, lambda file, tell: judge(rehearse(file, tell)), seed=5)
        return routed, seen

    return play


def test_the_first_way_that_every_check_passes_is_kept(searched):
    routed, seen = searched({5: (_finding("stranded"),), 6: ()})
    assert (routed.seed, seen.written, seen.seeds) == (6, 6, [5, 6])
    assert routed.failed == ()
    assert routed.complete


def test_what_the_script_fails_too_does_not_ask_for_another_search(searched):
    routed, seen = searched({5: (_finding("seen"),)}, script=(_finding("seen"), _finding("light")))
    assert (routed.seed, seen.seeds) == (5, [5])
    assert seen.rehearsed == [TARGET, SOURCE]
    assert (len(routed.failed), routed.caused) == (1, ())


def test_of_ways_that_all_fail_the_one_that_fails_least_is_written(searched):
    two = (_finding("stranded"), _finding("slowing"))
    routed, seen = searched({5: two, 6: (_finding("slowing"),), 7: two})
    assert (routed.seed, seen.written, seen.seeds) == (6, 6, [5, 6, 7])
    assert seen.rehearsed.count(SOURCE) == 1


def test_where_nothing_is_new_nothing_is_sought_again(searched):
    routed, seen = searched({5: (_finding("clearance"),)}, new=0)
    assert seen.seeds == [5]
    assert (len(routed.failed), routed.caused) == (1, ())


@pytest.mark.parametrize(("whole_is_free", "kept"), [(True, ["before", "wanted"]), (False, ["wanted"])])
def test_a_carry_without_a_way_is_sought_with_those_before_it(monkeypatch, whole_is_free, kept):
    """Earlier carries may leave the arm on a branch from which there is none; the whole file then finds another."""

    def stretch(carry, free):
        return SimpleNamespace(carry=carry, way=SimpleNamespace(free=free))

    def find_routes(scene, *, carry, seed, nearer_m, tell):
        if carry is not None:
            return (stretch("wanted", False),)
        return (stretch("before", True), stretch("wanted", whole_is_free), stretch("after", True))

    monkeypatch.setattr(passing, "find_routes", find_routes)
    carries = [SimpleNamespace(name=name) for name in ("before", "wanted", "after")]
    scene = SimpleNamespace(loaded=SimpleNamespace(scenario=SimpleNamespace(carries=carries)))
    found = passing._stretches(scene, "wanted", 1, 0.0, lambda words, share: None)
    assert [item.carry for item in found] == kept
