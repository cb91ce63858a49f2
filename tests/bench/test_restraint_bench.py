"""How long the search over all restraint settings takes, beside a plain loop over single poses and distances."""

from __future__ import annotations

import time

import numpy as np
import pytest

from armcarry.clearance.distance import distances
from armcarry.files.load import load_scenario
from armcarry.planning.detents import detents_of
from armcarry.planning.restraint import find_settings
from armcarry.planning.stance import look_up, take_stance
from armcarry.scene.build import build_scene, hang
from armcarry.scene.reach import hand_margins, sight_margin_m

SCENARIO = """format: armcarry scenario 1
title: bench
purpose: a rider at every worksite
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: quay}
restraint: {}
crew:
  ev1: {size: large, posture: neutral, at: arm}
"""
#: settings and postures the plain loop goes through; the others are taken to cost the same
SAMPLE = 150


def plain_loop(scene, site, rows, postures):
    """Reach and sight by tree.pose_of, clearance of every pair by distances, one setting and posture at a time."""
    who = look_up(scene, site, None, "stand")
    stance = take_stance(scene, who, postures, (0,), 0.3, 0.8)
    detents, member = detents_of(who.restraint), scene.loaded.crew["ev1"]
    tree = hang(scene, scene.tree, "ev1", "restraint/plate", scene.position)
    stand = tree.pose_of(f"platform/{who.site.stand}", scene.position)
    results = []
    for row in rows:
        setting, posture = divmod(row, len(postures))
        q = scene.position.copy()
        for joint, angle in zip(detents.joints, detents.angles_rad[setting], strict=True):
            q[tree.column(f"restraint/{joint}")] = angle
        for joint, value in member.document.postures[postures[posture]].items():
            q[tree.column(f"ev1/{joint}")] = value
        here = tree.pose_of("restraint/plate", q, relative_to="restraint/mount")
        moved = tree.attach("restraint", "world", stand @ np.linalg.inv(here))
        points = np.array([moved.pose_of(f"platform/{name}", q)[:3, 3] for name in who.site.work_points.values()])
        shoulders = [moved.pose_of(f"ev1/{link}", q)[:3, 3] for link in member.document.shoulders]
        hand = hand_margins(member.size.reach, moved.pose_of("ev1/chest", q), shoulders, points).two_hand_m
        seen = sight_margin_m(moved.pose_of("ev1/visor", q), points, member.document.view_half_angle)
        placed = np.concatenate([stance.moving(np.array([setting]), np.array([posture]))[0], stance.standing])
        gaps = distances(stance.shapes, placed[None], stance.pairs).lower_m
        results.append((min(hand.min(), seen.min()), gaps.min()))
    return results


@pytest.mark.bench
def test_search_over_all_settings_beside_a_plain_loop(tmp_path, capsys):
    path = tmp_path / "bench.yaml"
    path.write_text(SCENARIO, encoding="utf-8")
    scene = build_scene(load_scenario(path))
    sites = scene.loaded.platform.document.worksites
    postures = tuple(scene.loaded.crew["ev1"].document.postures)
    for site in sites:
        find_settings(scene, site, place="tip")  # compiles
    lines = []
    for site in sites:
        slowest = 0.0
        for place in ("stand", "tip", "socket"):
            if place == "socket" and sites[site].socket is None:
                continue
            start = time.perf_counter()
            found = find_settings(scene, site, place=place, limit=100_000, once=False)  # nothing is cut short
            slowest = max(slowest, time.perf_counter() - start)
        rows = np.random.default_rng(1).choice(found.tried, SAMPLE, replace=False)
        start = time.perf_counter()
        plain_loop(scene, site, rows, postures)
        plain = (time.perf_counter() - start) / SAMPLE * found.tried
        lines.append((site, found.tried, slowest, plain, plain / slowest))
        assert slowest < 2.0  # run by hand with -m bench, never in the normal suite
    with capsys.disabled():
        print("\nworksite        combinations  slowest search  plain loop  ratio")
        for site, tried, slowest, plain, ratio in lines:
            print(f"{site:14} {tried:13} {slowest:13.2f} s {plain:9.1f} s {ratio:6.0f}")
