"""The list of what-ifs: each is a check, and whatever stands in it is plotted, captioned and told."""

import numpy as np
import pytest

from armcarry.checks import registry
from armcarry.motion.curve import Motion
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.timeline.run import Phase
from armcarry.views import plots, whatifs
from armcarry.views.brief import content, pictures
from armcarry.views.brief.report import write_report
from armcarry.views.brief.report_pdf import write_report_pdf
from armcarry.views.table import Table
from armcarry.views.whatifs import CHECKS, WHAT_IFS, WhatIf


@pytest.fixture
def still(rider_scene):
    scene = rider_scene({})
    motion = Motion.hold(scene.tree.joints, scene.position, 0.0, 10.0)
    return Record(scene, (Phase(0.0, 10.0, scene.tree),), motion, ())


def test_every_what_if_is_a_check_with_a_title_of_its_own():
    assert set(registry()) >= CHECKS
    assert len(CHECKS) == len(WHAT_IFS) == len({item.title for item in WHAT_IFS})


def _line(record, findings):
    with plots.page(1, 1, "Lost light", f"{len(findings)} found") as (figure, (axes,)):
        axes.plot([0.0, 1.0], [0.0, 1.0])
    return figure


def test_a_new_what_if_is_told_everywhere(still, tmp_path, monkeypatch):
    table = Table(("lamp", "lasts"), (("lamp on the boom", "0:03:00.0"),))
    new = WhatIf("lost_light", "A lamp fails", "What is lit when a lamp fails", _line, lambda _: table, (2.0, 1.0))
    for module in (whatifs, content):
        monkeypatch.setattr(module, "WHAT_IFS", (new,))
        monkeypatch.setattr(module, "CHECKS", frozenset({"lost_light"}))
    monkeypatch.setattr(pictures, "stills", lambda *_, **__: [])
    findings = (Finding("lost_light", Verdict.PASS, "lamp", "the work stays lit"),)
    drawn = pictures.draw(still, tmp_path / "drawn", findings)
    (picture,) = drawn.what_ifs
    assert (picture.path.name, picture.words, picture.what_if) == ("lost_light.png", new.words, "lost_light")
    told = content.briefing(still, findings)
    assert not told.findings.rows  # they stand with their what-if
    (answer,) = told.what_ifs
    assert answer.asked is new and answer.more == table and "the work stays lit" in answer.findings.rows[0]
    html = write_report(still, findings, drawn, tmp_path / "report.html").read_text(encoding="utf-8")
    part = html.split("<h3>A lamp fails</h3>")[1].split("</section>")[0]
    assert new.words in part and "lamp on the boom" in part and "the work stays lit" in part
    assert write_report_pdf(still, findings, drawn, tmp_path / "report.pdf").stat().st_size > 1000
    (nothing,) = content.briefing(still, ()).what_ifs
    assert nothing.findings is None and nothing.more is None


def test_columns_of_tables_have_widths(still):
    found = {item.check: item.table(still) for item in WHAT_IFS}
    for item in WHAT_IFS:
        assert found[item.check] is None or len(found[item.check].columns) == len(item.shares)
    assert np.all([share > 0 for item in WHAT_IFS for share in item.shares])
