"""A run replayed from its own log, and runs side by side."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from armcarry.checks import log as log_check
from armcarry.cli import main
from armcarry.comparing.runs import compare
from armcarry.errors import InputError, RecordError
from armcarry.files.motion_log import read_motion_log
from armcarry.motion.curve import Motion
from armcarry.motion.merge import combined, difference
from armcarry.record.finding import Verdict
from armcarry.record.store import load, save
from armcarry.rehearsal import judge, rehearse


def log_text(record, times, marks=(), change=lambda t, q: q):
    """Return a CSV of the arm's joints in degrees at times, with the names of moves in the rows nearest to them."""
    columns = record.scene.arm_columns
    rows = [[float(t), *np.degrees(change(t, record.motion.at(t)[columns])).tolist(), ""] for t in times]
    for time, name in marks:
        row = rows[int(np.argmin(np.abs(np.asarray(times) - time)))]
        row[-1] = f"{row[-1]} {name}".strip()
    joints = [f"{joint.split('/')[1]} [deg]" for joint in record.scene.arm_joints]
    return "\n".join([",".join(["time [s]", *joints, "move"]), *(",".join(map(str, row)) for row in rows)]) + "\n"


def marks_of(record):
    return [(move.start_s, move.name or f"{move.carry}/{move.number}") for move in record.moves]


#: what is not about the whole of a run is asked of a log that ends here
SOON_S = 8.0


def soon(record):
    return [mark for mark in marks_of(record) if mark[0] < SOON_S]


@pytest.fixture(scope="module")
def times(short_run):
    record, _ = short_run
    return np.union1d(np.arange(0.0, record.duration_s, 0.5), [*(m.start_s for m in record.moves), record.duration_s])


@pytest.fixture(scope="module")
def folder(short_run, tmp_path_factory):
    path = tmp_path_factory.mktemp("plan") / "short"
    save(*short_run, path)
    return path


@pytest.fixture(scope="module")
def replayed(short_run, times, folder, tmp_path_factory):
    record, _ = short_run
    path = tmp_path_factory.mktemp("log") / "flown.csv"
    path.write_text(log_text(record, times, marks_of(record)))
    again = rehearse(folder / "scenario" / "scenario.yaml", motion=path)
    return again, log_check.check(again)


def test_a_run_replayed_from_its_log_goes_the_same_way(short_run, replayed, times):
    record, _ = short_run
    again, _ = replayed
    assert again.duration_s == pytest.approx(record.duration_s)
    inside = times[(times > 0) & (times < record.duration_s)] + 1e-6
    for name in ("ev1/visor", record.scene.arm_tip, "pump_box/case"):
        if name in record.scene.tree.links:
            ours, theirs = (r.link_path(name, inside)[:, :3, 3] for r in (record, again))
            assert np.abs(ours - theirs).max() < 2e-3
    assert [(m.name, m.kind) for m in again.moves if m.carry != "log"] == [(m.name, m.kind) for m in record.moves]
    assert [(e.kind, e.what, e.to) for e in again.events] == [(e.kind, e.what, e.to) for e in record.events]


def test_clearances_of_the_replay_are_those_of_the_run(short_run, replayed):
    ours = {(row.body_a, row.body_b): row for row in short_run[0].pairs}
    common = [(ours[key], row) for row in replayed[0].pairs if (key := (row.body_a, row.body_b)) in ours]
    assert len(common) > 1000
    for a, b in common:
        if a.status == b.status == "proven":
            assert b.lower_m <= a.upper_m + 3e-3 and a.lower_m <= b.upper_m + 3e-3


def test_a_replay_is_kept_with_its_log(replayed, tmp_path):
    again, findings = replayed
    save(again, findings, tmp_path / "kept")
    back, _ = load(tmp_path / "kept")
    assert back.logged == again.logged
    assert back.log_data == again.log_data == (tmp_path / "kept" / "log.csv").read_bytes()
    assert json.loads((tmp_path / "kept" / "summary.json").read_text())["digests"]["log.csv"] == again.logged.sha256


def test_the_log_check_says_what_was_assumed(short_run, replayed, times, folder, tmp_path):
    record, _ = short_run
    assert log_check.check(record) == ()
    first, *others = log_check.check(replayed[0])
    assert first.verdict is Verdict.PASS and "straight pieces between them; largest step" in first.message
    assert [finding.message.split(":")[0] for finding in others] == ["accelerations"]
    silent = times[(times < 3) | (times > 15)]
    path = tmp_path / "gap.csv"
    rows = log_text(record, silent).splitlines()
    rows.insert(6, rows[6].replace(rows[6].split(",")[1], "nan", 1))
    path.write_text("\n".join(rows))
    log = read_motion_log(path, leave_out=True)
    again = rehearse(folder / "scenario" / "scenario.yaml", motion=log, pieces="cubic")
    found = [finding for finding in log_check.check(again) if finding.verdict is Verdict.NOT_ASSESSED]
    assert any("the motion there is assumed" in f.message and f.start_s == pytest.approx(2.5, abs=0.51) for f in found)
    assert any(f.message.startswith("row left out:") and "gap.csv:7: no finite number" in f.message for f in found)
    assert any("no row says when 'leave' happens, so it is left out of the run" in f.message for f in found)
    assert again.events == ()
    assert {finding.check for finding in judge(again)} >= {"clearance", "joint_margin", "joint_rate", "log"}


def test_a_wrapped_angle_is_told_and_not_repaired(short_run, times, folder, tmp_path):
    record, _ = short_run
    path = tmp_path / "wrapped.csv"
    path.write_text(log_text(record, times, change=lambda t, q: q - 2 * np.pi * (t > 4) * (np.arange(7) == 6)))
    again = rehearse(folder / "scenario" / "scenario.yaml", motion=path)
    (jump,) = [finding for finding in log_check.check(again) if finding.verdict is Verdict.FAIL]
    assert jump.subject == "arm/wrist_turn"
    assert "steps by -360.0 deg from one row to the next, as a logger does that wraps angles" in jump.message


@pytest.mark.parametrize(("change", "says"), [
    (lambda text: text.replace("elbow_bend", "elbow_bnd"), "no joint named 'elbow_bnd'; accepted: arm/elbow_bend"),
    (lambda text: text.replace("elbow_bend [deg]", "elbow_bend [mm]"), "joint 'arm/elbow_bend' turns; found 'mm'"),
    (lambda text: text.replace("elbow_bend", "ev1/shoulder_left"), "no joint named 'ev1/shoulder_left'"),
    (lambda text: text.replace("wrist_turn [deg]", "arm/elbow_bend [deg]"), "a second column for 'arm/elbow_bend'"),
    (lambda text: text.replace(" up\n", "\n").replace(",up\n", ",upp\n"), "no move 'upp'; accepted: up (nearest)"),
    (lambda text: text.replace(",wing\n", ",up\n"), "move 'up' begins a second time, first in line "),
])  # fmt: skip
def test_what_does_not_fit_the_scene_is_refused(short_run, times, folder, tmp_path, change, says):
    path = tmp_path / "log.csv"
    path.write_text(change(log_text(short_run[0], times, marks_of(short_run[0]))))
    with pytest.raises(InputError) as caught:
        rehearse(folder / "scenario" / "scenario.yaml", motion=path)
    assert says in str(caught.value)


def test_a_joint_of_the_arm_without_a_column_is_refused(folder, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time [s],elbow_bend [deg]\n0,0\n1,1\n")
    with pytest.raises(InputError, match=r"csv:1: no column for arm/shoulder_turn, .*accepted: every joint of the arm"):
        rehearse(folder / "scenario" / "scenario.yaml", motion=path)


def test_a_log_has_no_day_to_slip(folder, replayed, tmp_path):
    with pytest.raises(InputError, match="a logged motion has no day, so no step of it can slip or fail"):
        rehearse(folder / "scenario" / "scenario.yaml", motion=tmp_path / "any.csv", slip={"a": 60.0})


# -- side by side ---------------------------------------------------------------------------------------------


def test_a_run_differs_in_nothing_from_itself(short_run):
    record, findings = short_run
    result = compare(record, record, findings=(findings, findings))
    assert not result.worse
    assert max(joint.deviation for joint in result.joints) == 0
    assert result.tip.distance_m == 0
    assert (result.pairs, result.groups, result.verdicts) == ((), (), ())


def later(record, by_s, columns=(), offset=0.0, rate=1.0):
    """Return a record that flies the same by_s later at a rate, some joints offset; clearances are left as they are."""
    motion = record.motion
    table = motion.coefficients.copy()
    for power in range(table.shape[1]):
        table[:, power] *= rate**power
    table[:, 0, list(columns)] += offset
    breaks = motion.breaks_s / rate
    held = Motion.hold(motion.joints, table[0, 0], 0.0, by_s) if by_s else None
    moved = Motion(motion.joints, breaks, table)
    moves = tuple(replace(m, start_s=m.start_s / rate, end_s=m.end_s / rate) for m in record.moves)
    return replace(record, motion=moved if held is None else held.then(moved), moves=moves)


def test_a_known_offset_is_found_exactly(short_run):
    record, _ = short_run
    column = int(record.scene.arm_columns[3])
    result = compare(record, later(record, 0.0, [column], 0.01))
    assert [joint.deviation for joint in result.joints] == pytest.approx([0, 0, 0, 0.01, 0, 0, 0], abs=1e-12)
    assert result.joints[3].rms == pytest.approx(0.01)
    # an elbow off by 0.01 rad moves the tip by 0.01 times its distance from the elbow's axis
    tree = record.scene.tree
    position = record.motion.at(result.tip.distance_time_s)
    step = position.copy()
    step[column] += 0.01
    gap = np.linalg.norm(
        record.phase_at(result.tip.distance_time_s).tree.pose_of(record.scene.arm_tip, step)[:3, 3]
        - record.phase_at(result.tip.distance_time_s).tree.pose_of(record.scene.arm_tip, position)[:3, 3]
    )
    assert tree is not None
    assert result.tip.distance_m == pytest.approx(gap, abs=1e-9)
    assert result.tip.angle_rad == pytest.approx(0.01, abs=1e-9)


def test_the_best_alignment_finds_a_late_start(short_run):
    record, _ = short_run
    result = compare(record, later(record, 3.7), align="best")
    assert result.shift_s == pytest.approx(-3.7, abs=2e-3)
    assert max(joint.deviation for joint in result.joints) < 1e-4
    assert max(joint.deviation for joint in compare(record, later(record, 3.7)).joints) > 1e-3


def test_a_rate_limit_and_a_stop_that_are_passed_are_told(short_run):
    record, _ = short_run
    fast = compare(record, later(record, 0.0, rate=4.0))
    assert any(joint.rate_passed for joint in fast.joints) and fast.worse
    peaks = [(joint.rate_share_first, joint.rate_share_second) for joint in fast.joints if joint.rate_share_first]
    assert [second / first for first, second in peaks] == pytest.approx([4.0] * len(peaks))
    column = int(record.scene.arm_columns[0])
    left = fast.joints[0].margin_first
    above = record.scene.tree.joint_limits[column, 1] - record.motion.extremes()[1][column]
    sign = 1.0 if above <= left + 1e-9 else -1.0
    beyond = compare(record, later(record, 0.0, [column], sign * (left + 0.001)))
    assert beyond.joints[0].stop_passed and beyond.worse
    assert beyond.joints[0].margin_second == pytest.approx(-0.001)


def test_a_pair_that_comes_nearer_is_told(short_run):
    record, _ = short_run
    row = next(r for r in record.pairs if r.status == "proven" and r.required_m and r.margin_m > 0.05)
    nearer = replace(row, lower_m=row.required_m - 0.02, upper_m=row.required_m - 0.0195)
    curve = replace(record.curves[0], upper_m=record.curves[0].lower_m - 0.01, lower_m=record.curves[0].lower_m - 0.03)
    other = replace(
        record, pairs=tuple(nearer if r is row else r for r in record.pairs), curves=(curve, *record.curves[1:])
    )
    result = compare(record, other)
    (pair,) = result.pairs
    assert pair.newly_fails and result.worse
    assert pair.nearer_m == pytest.approx(row.lower_m - nearer.upper_m)
    (group,) = result.groups
    assert group.group == record.curves[0].group
    assert group.nearer_m == pytest.approx(0.01)


def test_a_changed_verdict_is_told(short_run):
    record, findings = short_run
    passed = next(f for f in findings if f.verdict is Verdict.PASS)
    failed = replace(passed, verdict=Verdict.FAIL)
    result = compare(record, record, findings=((passed,), (failed,)))
    assert result.verdicts == ((passed.check, passed.subject, passed.other, "pass", "fail"),)
    assert result.worse


def test_runs_of_different_arms_are_refused(short_run):
    record, _ = short_run
    joints = record.scene.loaded.arm.document.joints
    document = record.scene.loaded.arm.document.model_copy(update={"joints": joints[:6]})
    loaded = replace(record.scene.loaded, arm=replace(record.scene.loaded.arm, document=document))
    with pytest.raises(RecordError, match="the two runs are of different arms: their joints have other names"):
        compare(record, replace(record, scene=replace(record.scene, loaded=loaded)))


def test_difference_and_combination_are_exact():
    rng = np.random.default_rng(3)
    a = Motion(("x", "y"), np.array([0.0, 1.0, 2.5, 4.0]), rng.normal(size=(3, 4, 2)))
    b = Motion(("x", "y"), np.array([0.0, 0.7, 4.0]), rng.normal(size=(2, 2, 2)))
    t = np.linspace(0, 4, 101)
    assert difference(a, b).at(t) == pytest.approx(a.at(t) - b.at(t), abs=1e-12)
    whole = combined(a, Motion(("y",), b.breaks_s, b.coefficients[:, :, 1:]))
    assert whole.at(t)[:, 0] == pytest.approx(a.at(t)[:, 0], abs=1e-12)
    assert whole.at(t)[:, 1] == pytest.approx(b.at(t)[:, 1], abs=1e-12)


def test_the_command_line_compares_a_run_with_a_log(short_run, times, folder, tmp_path, monkeypatch, capsys):
    path = tmp_path / "flown.csv"
    # the first moves of it: every row of a log costs as much as a move
    path.write_text(log_text(short_run[0], times[times < SOON_S], soon(short_run[0]), lambda t, q: q + 0.001))
    with pytest.raises(SystemExit) as ended:
        monkeypatch.setattr("sys.argv", ["armcarry", "compare", str(folder), str(path), "--json"])
        main()
    shown = json.loads(capsys.readouterr().out)
    assert ended.value.code == int(shown["worse"])
    assert shown["joints"][0]["deviation"] == pytest.approx(0.001, abs=2e-4)
    with pytest.raises(SystemExit):
        monkeypatch.setattr("sys.argv", ["armcarry", "compare", str(folder), str(folder)])
        main()
    assert "Verdicts that differ: 0" in capsys.readouterr().out


def test_rows_that_were_left_out_and_gaps_are_told_by_line(short_run, times, folder, tmp_path, monkeypatch, capsys):
    lines = log_text(short_run[0], times, marks_of(short_run[0])).splitlines()
    lines.insert(11, lines[10])  # a row twice, in line 12
    del lines[40:70]
    path = tmp_path / "flown.csv"
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(SystemExit):
        monkeypatch.setattr("sys.argv", ["armcarry", "compare", str(folder), str(path), "--leave-out"])
        main()
    told = capsys.readouterr().out
    assert f"row left out: {path}:12: the row repeats the time of line 11" in told
    assert "flown.csv:41: no row for" in told


def other_words(record, times, marks):
    """Return the same log as another house writes it, and the file that says what its columns hold."""
    lines = log_text(record, times, marks).splitlines()
    joints = [joint.split("/")[1] for joint in record.scene.arm_joints]
    head = ";".join(["Clock", "Step", "Heat", *(f"AX{k}" for k in range(len(joints)))])
    rows = []
    for line in lines[1:]:
        time, *angles, mark = line.split(",")
        for k in (0, 3):
            angles[k] = str(-float(angles[k]))
        angles[1] = str((float(angles[1]) - 12.0 + 180.0) % 360.0 - 180.0)
        stamp = (datetime(2031, 3, 21, 8, tzinfo=UTC) + timedelta(seconds=float(time))).isoformat()
        rows.append(";".join([stamp, mark, "21,5", *angles]).replace(".", ","))
    said = {joint: {"joint": joint, "unit": "deg"} for joint in joints}
    said[joints[0]]["reversed"] = said[joints[3]]["reversed"] = True
    said[joints[1]] |= {"zero": "12 deg", "wraps": True}
    columns = {"format": "armcarry columns 1", "title": "another house", "time": {"column": "Clock"}, "move": "Step",
               "joints": {f"AX{k}": said[joint] for k, joint in enumerate(joints)}}  # fmt: skip
    return "\n".join([head, *rows]) + "\n", json.dumps(columns)


def test_a_log_in_other_words_is_the_same_run_and_keeps_what_its_columns_held(
    short_run, times, folder, tmp_path, monkeypatch, capsys
):
    record, _ = short_run
    whole = np.round(times[times < SOON_S], 6)  # clocks of ISO 8601 here count microseconds
    log, said = tmp_path / "theirs.csv", tmp_path / "columns.yaml"
    (tmp_path / "ours.csv").write_text(log_text(record, whole, soon(record)))
    text, columns = other_words(record, whole, soon(record))
    log.write_text(text)
    said.write_text(columns)
    scenario = str(folder / "scenario" / "scenario.yaml")
    with pytest.raises(SystemExit):
        monkeypatch.setattr("sys.argv", [
            "armcarry", "rehearse", scenario, "--motion", str(log), "--log-columns", str(said), "--no-views", "--out",
            str(tmp_path / "run"), "--all",
        ])  # fmt: skip
        main()
    joints = [joint.split("/")[1] for joint in record.scene.arm_joints]
    told = " ".join(capsys.readouterr().out.split())
    assert f"as the file of columns says: {joints[0]} reversed; {joints[1]} +0.20944 rad and unwrapped; " in told
    assert f"unwrapped; {joints[3]} reversed; columns" in told
    assert "passed over: Heat" in told and "from 2031-03-21T08:00:00+00:00 as logged" in told
    back, _ = load(tmp_path / "run")
    plain = rehearse(scenario, motion=tmp_path / "ours.csv")
    low, high = difference(plain.motion, back.motion).extremes()
    assert max(np.abs(low).max(), np.abs(high).max()) < 1e-9
    assert [move.name for move in back.moves] == [move.name for move in plain.moves]
    assert (tmp_path / "run" / "log_columns.yaml").read_bytes() == back.log_columns == columns.encode()


def test_columns_without_a_log_are_refused(folder, tmp_path, monkeypatch, capsys):
    with pytest.raises(SystemExit) as ended:
        monkeypatch.setattr("sys.argv", [
            "armcarry", "rehearse", str(folder / "scenario" / "scenario.yaml"), "--log-columns", "x.yaml",
        ])  # fmt: skip
        main()
    assert ended.value.code == 2
    assert "columns of a log, and no log; found 'x.yaml'; accepted: --log-columns with --motion LOG" in (
        " ".join(capsys.readouterr().err.split())
    )
