"""The first start, which compiles: said in a sentence, and on a terminal shown to go on."""

import io

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
