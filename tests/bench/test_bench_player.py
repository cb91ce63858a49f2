"""Frames a second of the player window with the demo world, under a virtual display with software rendering."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

_DRIVE = """
import json, os, sys, time
os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])
from pathlib import Path
from armcarry.views.player import display
display.prepare()
from armcarry.views.player.opening import open_run
from armcarry.views.player.app import open_window
from PySide6.QtWidgets import QApplication
window = open_window(open_run(Path(sys.argv[1])))

def spin(seconds):
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        QApplication.processEvents()

def rate(seconds=6.0):
    window.session.set_speed(10)
    window.seek(600.0)
    window.play()
    spin(1.0)
    frames, start, used = window.canvas.frames, time.perf_counter(), time.process_time()
    spin(seconds)
    frames, took = window.canvas.frames - frames, time.perf_counter() - start
    used = time.process_time() - used
    window.play()
    return frames / took, 1e3 * used / frames

window.resize(1280, 720)
spin(0.5)
result = {"with plots and tables, window 1280x720, all": rate()}
window.act("follow")
result["with plots and tables, window 1280x720, tip"] = rate()
window.act("panels")
spin(0.5)
window.resize(1280, 720 + window.height() - window.view.height())
spin(0.5)
size = (window.view.width(), window.view.height())
result[f"3-D view alone, {size[0]}x{size[1]}, tip"] = rate()
window.act("overview")
result[f"3-D view alone, {size[0]}x{size[1]}, all"] = rate()
print("RATES " + json.dumps(result), flush=True)
os._exit(0)
"""


@pytest.mark.bench
def test_frames_a_second_of_the_demo_world(capsys, tmp_path):
    import json

    from armcarry.files.places import data_folder
    from armcarry.record.store import save
    from armcarry.rehearsal import judge, rehearse

    if shutil.which("Xvfb") is None:
        pytest.skip("Xvfb is not installed")
    record = rehearse(Path(data_folder()) / "scenarios" / "pump_box_to_bay_7.yaml")
    save(record, judge(record), tmp_path / "run")
    busy = os.getloadavg()[0]
    with subprocess.Popen(
        ["Xvfb", "-displayfd", "1", "-screen", "0", "1600x1000x24", "-nolisten", "tcp"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    ) as server:
        try:
            env = {**os.environ, "DISPLAY": f":{server.stdout.readline().strip()}", "LIBGL_ALWAYS_SOFTWARE": "1"}
            command = [sys.executable, "-c", _DRIVE, str(tmp_path / "run")]
            done = subprocess.run(command, env=env, capture_output=True, text=True, timeout=300)
        finally:
            server.terminate()
    line = next((line for line in done.stdout.splitlines() if line.startswith("RATES ")), None)
    assert line is not None, done.stderr[-2000:]
    rates = json.loads(line.removeprefix("RATES "))
    with capsys.disabled():
        print(f"\n  player, demo world of {len(record.bodies)} bodies, two cores; load before: {busy:.1f}")
        for name, (frames, used) in rates.items():
            print(f"  {name:46s} {frames:6.1f} frames/s   {used:6.1f} ms of processor a frame")
    for name, (frames, _) in rates.items():
        assert frames >= (30.0 if "alone" in name else 20.0), f"{name}: {frames:.1f} frames/s, load before {busy:.1f}"
