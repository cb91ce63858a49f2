"""Several runs told as one: index page, time line, deck; runs of the same files are not computed again."""

import json
import re

import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.comparing.joined import Otherwise
from armcarry.record.frozen import freeze
from armcarry.record.store import FORMAT, save
from armcarry.views.series.chart import time_line
from armcarry.views.series.told import Told, join_table, joins, unexplained
from armcarry.views.series.write import joined_words, write_index

SERIES = """format: armcarry series 1
title: Two <outings>
purpose: to test
outings:
  - {name: one, scenario: short.yaml, date: 20 March 2031}
  - {name: two, title: The other, scenario: short.yaml, changes: {pump_box: brought back, arm: driven meanwhile}}
"""


@pytest.fixture(scope="module")
def folder(short_run, short_path, tmp_path_factory):
    where = tmp_path_factory.mktemp("series")
    (where / "short.yaml").write_text(short_path.read_text())
    (where / "series.yaml").write_text(SERIES)
    for name in ("one", "two"):
        save(*short_run, where / "out" / name)
    freeze(where / "out" / "one", "2031-03-20", ["A"], FORMAT)
    (where / "out" / "one" / "views").mkdir()
    (where / "out" / "one" / "views" / "run.html").write_text("page")
    return where


def test_a_series_is_told_as_one_and_says_what_stands_otherwise(folder, monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("rehearsed anew")

    monkeypatch.setattr("armcarry.rehearsal.rehearse", refuse)
    said = CliRunner().invoke(app, ["series", str(folder / "series.yaml"), "--out", str(folder / "out"), "--json"])
    told = json.loads(said.stdout)
    assert said.exit_code == 1  # the wing stands otherwise, and nobody says why
    assert told["outings"].keys() == {"one", "two"} and told["failed"]
    (join,) = told["otherwise"]
    assert {row["what"]: row["why"] for row in join} == {
        "solar_wing": "", "pump_box": "brought back", "arm": "driven meanwhile"}
    html = (folder / "out" / "index.html").read_text(encoding="utf-8")
    assert "Two &lt;outings&gt;" in html and "brought back" in html and "✕ no reason is given" in html
    assert 'href="one/views/run.html"' in html and "report.html" not in html
    assert "Frozen on 2031-03-20, looked through by A" in html and "This run is not frozen" in html
    assert html.count("<section id=") == 2 and "The other" in html
    pptx = pytest.importorskip("pptx")
    deck = pptx.Presentation(str(folder / "out" / "series.pptx"))
    titles = [slide.shapes.title.text_frame.text for slide in deck.slides]
    assert titles[:3] == ["Two <outings>", "All outings on one time line", "Short"] and titles[-1] == "Cautions"
    assert "Otherwise at the start: The other" in titles


def test_an_index_over_several_runs(folder, tmp_path):
    runs = [str(folder / "out" / name) for name in ("one", "two")]
    said = CliRunner().invoke(app, ["index", *runs, "--out", str(tmp_path)])
    assert said.exit_code == 0, said.output
    html = (tmp_path / "index.html").read_text(encoding="utf-8")
    (link,) = re.findall(r'href="([^"]*run\.html)"', html)
    assert (tmp_path / link).resolve() == (folder / "out" / "one" / "views" / "run.html").resolve()
    assert "otherwise" not in html and (tmp_path / "time_line.png").is_file()


def test_the_time_line_has_a_bar_for_each_task_of_each_actor(short_run, folder):
    told = [Told(name, name, folder / "out" / name, *short_run) for name in ("one", "two")]
    (axes,) = time_line(told).axes
    tasks = told[0].procedure.tasks
    bars = sum(len({*task.actors, *task.riders}) for task in tasks)
    assert len(axes.patches) == 2 * bars
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["ev1", "arm operator"]
    second = [bar.get_x() for bar in axes.patches[bars:]]
    assert min(second) * 3600 > short_run[0].duration_s  # one after the other


def test_words_for_how_outings_join():
    known, unknown = Otherwise("a", "b", "c", "why"), Otherwise("d", "e", "f")
    assert joined_words(()) == "" and joined_words(((),)).startswith("✓ Each outing begins as the one before it ended.")
    assert joined_words(((known,),)).endswith("but for 1 that the series gives a reason for.")
    assert joined_words(((known, unknown),)).startswith("✕ 1 stand otherwise")
    assert join_table((known, unknown)).rows[0] == ("d", "e", "f", "✕ no reason is given")
    assert unexplained(((known,), (unknown,))) == 1 and joins(()) == ()


def test_no_page_is_written_through_a_link(short_run, folder, tmp_path):
    (tmp_path / "link").symlink_to(tmp_path)
    told = [Told("one", "one", folder / "out" / "one", *short_run)]
    with pytest.raises(Exception, match="is a link"):
        write_index(told, (), tmp_path / "link", "x")
