"""Page, player and report tell of a short run what its findings.json says: same figures, instants, verdicts, bodies."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from armcarry.quantities import clock
from armcarry.record.figures import at_least
from armcarry.record.finding import ClearanceDetail, Finding, Verdict
from armcarry.record.record import Record
from armcarry.record.store import save
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.brief.answer import findings_table
from armcarry.views.brief.content import briefing
from armcarry.views.closest import worded
from armcarry.views.folded import folded, listed
from armcarry.views.page.facts import page_facts
from armcarry.views.plots import clearance
from armcarry.views.pointed import gap_of, look_at


@pytest.fixture(scope="module")
def told(short_run, tmp_path_factory):
    """The run, what its folder says of its findings, and the page's facts."""
    record, findings = short_run
    folder = tmp_path_factory.mktemp("same") / "run"
    save(record, findings, folder)
    return record, findings, json.loads((folder / "findings.json").read_text()), page_facts(record, findings)


def test_the_page_says_of_each_finding_what_its_file_says(told):
    record, findings, written, facts = told
    order = listed(findings)
    assert sorted(order) == list(range(len(findings))) and len(facts["findings"]) == len(written)
    gaps = faults = 0
    for shown, k in zip(facts["findings"], order, strict=True):
        item = written[k]
        assert (shown["verdict"], shown["message"], shown["remedy"]) == (
            item["verdict"], item["message"], item["remedy"])
        assert shown["check"] == plain(item["check"])
        assert shown["value"].startswith(palette.VERDICTS[Verdict(item["verdict"])][1])
        at = item.get("time_s", item["start_s"])
        assert (shown["time"], shown["when"]) == (at, clock(at))
        if shown["gap"] is None:
            continue
        gaps += 1
        assert {shown["gap"]["pair"]["a"], shown["gap"]["pair"]["b"]} == {item["subject"], item["other"]}
        if "lower_m" in item:
            found = at_least(item["lower_m"], item["required_m"], "m")
            fault = "joints" in item  # of what would be after a fault, which the run does not fly
            touch = fault and item["verdict"] == "fail" and item["upper_m"] == 0.0
            said, needed = "contact" if touch else found.said, "must be left" if fault else "required"
            needed = f"{found.asked} {needed}"
            assert (shown["value"][2:], shown["needed"]) == (said, needed)
            assert shown["label"][2:] == f"{said} ({needed})"
            now = record.motion.at(at)[record.scene.arm_columns]
            turned = fault and bool(np.abs(now - item["joints"]).max() > 2e-3)
            assert bool(shown["after"]) or not turned
            assert not shown["after"] or fault
            faults += turned
    assert gaps and faults


def test_the_players_side_says_the_same(told):
    pytest.importorskip("PySide6")
    from armcarry.views.player.look import TEXT_OF
    from armcarry.views.player.side import finding_words

    record, findings, _, facts = told
    for shown, k in zip(facts["findings"], listed(findings), strict=True):
        pair, value, least, colour = finding_words(record, findings[k])
        assert value == shown["label"] and colour == TEXT_OF[findings[k].verdict]
        if shown["gap"] is not None:
            assert pair == f"{shown['gap']['pair']['a_words']} – {shown['gap']['pair']['b_words']}"
            row = gap_of(record, findings[k]).row
            if row is None:
                assert least == ""
                continue
            assert least.startswith(f"least, proven: {worded(row, row.lower_m).split(' (')[0]} to ")


def test_the_report_says_the_same(told):
    _, findings, written, _ = told
    failed = [k for k, item in enumerate(written) if item["verdict"] != "pass"]
    rows = findings_table([findings[k] for k in failed] + [findings[0]]).rows
    texts = {row[3]: row for row in rows}
    for k in failed:
        row = texts[written[k]["message"]]
        assert row[2] == clock(written[k].get("time_s", written[k]["start_s"]))
        assert row[0].startswith(palette.VERDICTS[Verdict(written[k]["verdict"])][1])


def test_headline_and_curves_tell_the_proven_least(told):
    record, _, _, facts = told
    row = record.tightest
    spoken = worded(row, row.lower_m)
    assert facts["tightest"]["label"][2:] == spoken and facts["tightest"]["time"] == row.time_s
    assert spoken.split(" (")[0] in briefing(record, ()).tightest and clock(row.time_s) in briefing(record, ()).tightest
    titles = [axes.get_title(loc="left") for axes in clearance(record).axes]
    for shown in facts["curves"]:
        curve = next(c for c in record.curves if (c.group, c.required_m) == (shown["group"], shown["required"]))
        least = record.least_of(curve)
        found = at_least(least.lower_m, curve.required_m, "m").said
        assert shown["least"] == f"{found} at {clock(least.time_s)}"
        drawn = [title for title in titles if title.startswith(f"{curve.group}: ")]  # the tightest few are
        assert all(title.startswith(f"{curve.group}: {shown['least']}") for title in drawn), (drawn, shown["least"])
    assert len(titles) == min(5, len(record.curves)) > 0


def test_failures_come_first_each_with_a_camera_a_plot_and_its_own_verdict(small_run):
    record, findings = small_run
    row = max((r for r in record.pairs if r.status == "proven"), key=lambda r: r.margin_m)
    budget = Finding("budget", Verdict.FAIL, row.body_a, "taken up", other=row.body_b, start_s=row.time_s,
                     end_s=row.time_s, value=-0.02, limit=0.0, unit="m")
    joint = Finding("joint_rate", Verdict.FAIL, "arm/elbow", "too fast", start_s=60.0, end_s=61.0)
    whole = Finding("schedule", Verdict.FAIL, "cut_off", "too late")
    roomy = [
        Finding("clearance", Verdict.PASS, r.body_a, "fine", other=r.body_b, start_s=r.time_s, end_s=r.time_s,
                clearance=ClearanceDetail(r.lower_m, r.upper_m, r.required_m, r.time_s, r.point_a, r.point_b))
        for r in sorted((r for r in record.pairs if r.status == "proven"), key=lambda r: r.margin_m)[1:40]
    ]
    told = page_facts(record, (*roomy, *findings, budget, joint, whole))["findings"]
    failed = [item for item in told if item["verdict"] == "fail"]
    assert told[: len(failed)] == failed and len(failed) == 4
    assert all(item["view"] is not None and item["value"].startswith("✕") for item in failed)
    shown = next(item for item in failed if item["check"] == "budget")
    assert shown["gap"] is not None and shown["curve"] is not None and shown["time"] == row.time_s
    assert shown["label"] == "✕ -0.020 m (at least 0.000 m, budget)"
    elbow = look_at(record, joint).focus_m
    tree, links = record.link_poses(60.0)
    joint_row = next(k for k, name in enumerate(tree.links) if name == "arm/elbow_link")
    assert elbow == pytest.approx(tuple(links[joint_row][:3, 3]))


def test_findings_of_one_cause_fold_together_on_every_list(small_run):
    from armcarry.record.finding import Cause

    record, findings = small_run
    cause = Cause("move", record.moves[1].title)
    same = [replace(findings[0], cause=cause, message=f"one {k}") for k in range(3)]
    alone = replace(findings[0], message="alone")
    folds = folded((*findings[1:], *same, alone))
    assert folds[0].words == f"✕ move {plain(cause.name)}: 3" and folds[1].words == "✕ clearance: 1"
    order = [Verdict.FAIL, Verdict.NOT_ASSESSED, Verdict.PASS]
    assert [fold.verdict for fold in folds] == sorted((fold.verdict for fold in folds), key=order.index)


def test_the_headline_is_what_fails_then_the_least_share_and_the_arms_own_pairs_last(small_run):
    record, _ = small_run
    base = record.pairs[0]

    def row(name, required_m, lower_m, *classes):
        a, b = classes or ("rider", "structure")
        return replace(base, body_a=name, class_a=a, class_b=b, required_m=required_m, lower_m=lower_m,
                       upper_m=lower_m, status="proven")

    def headline(*rows) -> str:
        return Record.tightest.func(replace(record, pairs=rows)).body_a

    wide, tight = row("wide", 0.6, 0.66), row("tight", 0.2, 0.24)  # 60 and 40 mm to spare, 110 % and 120 %
    own = row("own", 0.08, 0.0801, "arm", "arm")
    assert headline(own, tight, wide) == "wide"
    assert headline(own, tight, wide, row("short", 0.05, 0.049)) == "short"
    assert headline(tight, row("own", 0.08, 0.079, "arm", "arm")) == "own"
    assert headline(own, row("free", 0.0, 2.0)) in ("own", "free") and headline(own) == "own"
    assert headline(wide, row("touching", 0.0, float("-inf"))) == "touching"
