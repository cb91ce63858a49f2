"""The first start, which compiles: said in a sentence, and on a terminal shown to go on; what is told first."""

import io
from pathlib import Path
from types import SimpleNamespace

import pytest
from rich.console import Console as Rich

from armcarry.clearance import ready
from armcarry.views.terminal import Console


@pytest.mark.parametrize(("terminal", "cold"), [(True, True), (False, True), (True, False)])
def test_a_line_goes_on_while_kernels_compile_on_a_terminal_alone(terminal, cold, monkeypatch, capsys):
    console = Console(quiet=False)
    console.err = Rich(file=io.StringIO(), force_terminal=terminal, width=80)

    def make_ready(tell):
        if cold:
            tell("compiling, wait")
        return cold

    monkeypatch.setattr(ready, "make_ready", make_ready)
    console.ready()
    shown = console.err.file.getvalue()
    assert capsys.readouterr().err == ("compiling, wait\n" if cold else "")
    assert ("compiling" in shown and "0:00:00" in shown) is (terminal and cold)
    assert shown == "" or terminal


def test_the_line_ends_where_compiling_breaks_off(monkeypatch, capsys):
    console = Console()
    console.err = Rich(file=io.StringIO(), force_terminal=True, width=80)

    def make_ready(tell):
        tell("compiling, wait")
        raise OSError("no disk")

    monkeypatch.setattr(ready, "make_ready", make_ready)
    with pytest.raises(OSError, match="no disk"):
        console.ready()
    assert console.err.file.getvalue().endswith("\x1b[2K")  # the line is taken away


def test_off_a_terminal_long_work_is_told_now_and_then_and_short_work_not_at_all(capsys, monkeypatch):
    from armcarry.views import terminal

    clock = [0.0]
    monkeypatch.setattr(terminal.time, "monotonic", lambda: clock[0])
    for quiet, told in ((False, ["proving [b] (20%)", "drawing (90%)", "reading"]), (True, [])):
        clock[0] = 0.0
        with terminal.Console(quiet).progress() as tell:
            for now, words, share in ((14.0, "moving", 0.1), (16.0, "proving [b]", 0.2), (17.0, "drawing", 0.3),
                                      (31.5, "drawing", 0.9), (47.0, "reading", 0.004)):  # fmt: skip
                clock[0] = now
                tell(words, share)
        out, err = capsys.readouterr()
        assert (out, err.splitlines()) == ("", told)


def test_what_could_not_be_found_is_told_first_and_the_rest_where_it_is_kept():
    console = Console()
    console.out = Rich(file=io.StringIO(), width=200)
    told = ["base to trolley 6.00 m for rack_a", "day.yaml:5: no way to hold the restraint: a and b touch"]
    found = SimpleNamespace(document=SimpleNamespace(told=told), source=SimpleNamespace(path=Path("day.found.json")))
    record = SimpleNamespace(scene=SimpleNamespace(loaded=SimpleNamespace(beside=SimpleNamespace(found=found))))
    console.unfound(record)
    assert console.out.file.getvalue().splitlines() == [
        "Could not be found, and what fails below may follow from it:", f"  {told[1]}"]  # fmt: skip
    console.out = Rich(file=io.StringIO(), width=200)
    console.found(record)
    assert console.out.file.getvalue().splitlines()[1:] == [f"  {told[0]}"]
    found.document.told = told[:1]
    console.out = Rich(file=io.StringIO(), width=200)
    console.unfound(record)
    assert console.out.file.getvalue() == ""
