"""Words are taken from an edited scenario, and from one that differs in nothing else."""

import pytest

from armcarry.errors import InputError
from armcarry.procedure.tasks import procedure
from armcarry.record.rewritten import rewritten


@pytest.fixture
def edited(short_path, tmp_path):
    def write(old, new):
        text = short_path.read_text()
        assert old in text
        path = tmp_path / "short.yaml"
        path.write_text(text.replace(old, new, 1))
        return path

    return write


def test_own_words_come_back_without_a_new_rehearsal(short_run, edited):
    record, _ = short_run
    made = rewritten(record, edited("say: Ready}", "say: All ready, caution: Hot., see: a ring, if_not: stop}"))
    assert made.moves[0].say == "All ready" and made.motion is record.motion
    task = procedure(made).tasks[0]
    assert (task.title, task.cautions, task.see, task.if_not) == ("All ready", ("Hot.",), "a ring", "stop")
    assert rewritten(record, edited("title: Short", "title: Other")).scene.loaded.scenario.title == "Other"


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [("hold: 2 s", "hold: 3 s", "carries[0].moves[0].hold"), ("station: 11 m", "station: 10 m", "base.station"),
     ("      - {hold: 3 s}\n", "", "carries[0].moves")],
)  # fmt: skip
def test_any_other_change_is_refused_by_its_place(short_run, edited, old, new, where):
    with pytest.raises(InputError) as told:
        rewritten(short_run[0], edited(old, new))
    assert f"another {where}" in str(told.value) and "rehearse it for any other" in str(told.value)
