"""The words of errors: the place first, then the problem, what was found, what is accepted."""

from pathlib import Path

import pytest

from armcarry import errors
from armcarry.errors import ArmcarryError, FrameError, InputError, InputErrors, MissingExtraError, ReachError


def test_everything_raised_on_purpose_has_one_base():
    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, Exception)]
    raised = [kind for kind in kinds if not issubclass(kind, Warning)]
    assert len(raised) >= 8
    assert all(issubclass(kind, ArmcarryError) for kind in raised)
    assert [kind.__name__ for kind in kinds if kind not in raised] == ["RecomputedWarning"]  # told, never raised


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({}, "bad"),
        ({"file": "a.yaml"}, "a.yaml: bad"),
        ({"file": "a.yaml", "line": 3}, "a.yaml:3: bad"),
        ({"line": 3}, "bad"),
        ({"found": "x"}, "bad; found 'x'"),
        ({"file": Path("a.yaml"), "line": 3, "found": 7, "accepted": "text"}, "a.yaml:3: bad; found 7; accepted: text"),
    ],
)
def test_an_input_error_names_the_place(given, text):
    assert str(InputError("bad", **given)) == text


def test_words_of_a_file_do_not_steer_the_terminal():
    error = InputError("no link 'a\x1b[2J\u202e\ud800é\nb'", file="a.yaml", line=3, found="\x07")
    assert str(error) == "a.yaml:3: no link 'a\\x1b[2J\\u202e\\ud800é\\nb'; found '\\x07'"
    assert str(InputErrors([error, error])).splitlines() == [str(error)] * 2


def test_several_input_errors_tell_each_and_stand_for_the_first():
    several = InputErrors([InputError("one", file="a", line=1, found="x"), InputError("two", file="b", line=2)])
    assert str(several) == "a:1: one; found 'x'\nb:2: two"
    assert (several.file, several.line, several.problem) == (Path("a"), 1, "one")
    assert isinstance(several, InputError)


def test_several_input_errors_are_cut_at_forty():
    several = InputErrors(InputError(f"problem {k}") for k in range(41))
    assert str(several).splitlines()[-1] == "and 1 more"
    assert len(several.problems) == 41


def test_a_frame_error_names_the_nearest_or_what_is_known():
    assert str(FrameError("joint", "elbo", ["elbow", "wrist"])) == "no joint named 'elbo'; did you mean 'elbow'?"
    assert str(FrameError("joint", "zzz", ["elbow", "wrist"])) == "no joint named 'zzz'; known: elbow, wrist"
    assert str(FrameError("joint", "zzz", [])).startswith("no joint named 'zzz'")


def test_a_missing_library_says_what_to_type():
    assert str(MissingExtraError("pptx", "slides", "writing slides")) == (
        "writing slides needs pptx, which is not installed; type: pip install 'armcarry[slides]'"
    )


def test_a_pose_out_of_reach_says_how_far_short():
    error = ReachError("the worksite", "joint elbow ends there", short_m=0.25, short_rad=0.1, stopped_by=["elbow"])
    assert str(error) == "the worksite is not reached: 0.250 m and 5.73 deg short; joint elbow ends there"
    assert error.stopped_by == ("elbow",)


def test_what_is_longer_than_anybody_reads_is_cut():
    error = InputError("no number", found="a" * 5000, accepted="a number")
    assert str(error) == f"no number; found '{'a' * 399}...; accepted: a number" and error.found == "a" * 5000
    assert len(str(ArmcarryError("b" * 5000))) == 1903
