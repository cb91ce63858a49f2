"""Routes that every check passes: found, written, rehearsed, and sought anew where a check fails because of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from armcarry.planning.route import Stretch, find_routes, write_routes
from armcarry.record.finding import Finding, Verdict
from armcarry.scene.build import Scene

Tell = Callable[[str, float], None]
Judged = Callable[[Path, Tell], Iterable[Finding]]

#: searches, each with the next seed, before the best of them is taken
SEARCHES = 3
#: and each keeps riders this much nearer to handrails than the one before, m
NEARER_M = 1.0


@dataclass(frozen=True, eq=False)
class Routed:
    """What was written, and what the checks say of it.

    Attributes:
        stretches: in the order of the script.
        new: how many of them were written anew.
        failed: findings that fail in the written scenario.
        caused: those of them that do not fail in the script.
        seed: of the search that gave it.
    """

    stretches: tuple[Stretch, ...]
    new: int
    failed: tuple[Finding, ...]
    caused: tuple[Finding, ...]
    seed: int

    @property
    def complete(self) -> bool:
        """Whether every stretch has a way."""
        return all(map(_free, self.stretches))


def write_passing(
    scene: Scene,
    source: Path,
    target: Path,
    judged: Judged,
    *,
    carry: str | None = None,
    seed: int = 1,
    tell: Tell | None = None,
) -> Routed:
    """Write a scenario with the routes that leave fewest checks failed, of a few searches.

    The search knows clearance, the budget of uncertainty, travel of the joints and singular places. What else
    depends on a way (where a locked joint leaves the rider, the time home, what is seen, run-outs) the checks
    judge afterwards; while one fails that the script did not fail, another seed is tried, nearer to handrails.

    Args:
        scene: of the source.
        source, target: scenario files; the source stays as it is.
        judged: rehearses a scenario file and returns its findings.
        carry, seed, tell: as for ``find_routes``.

    Raises:
        InputError: target is the source, or there is no such carry.
        RecordError: the target cannot be written.
    """
    say = tell or (lambda words, share: None)
    tried: list[Routed] = []
    known: set[tuple[str, str]] = set()
    for number in range(SEARCHES):
        share = number / SEARCHES
        nearer_m = number * NEARER_M
        stretches = _stretches(scene, carry, seed + number, nearer_m, _part(say, share))
        new = write_routes(stretches, source, target)
        failed = _failed(judged, target, say, share + 0.5 / SEARCHES)
        if failed and not number:
            known = {_about(finding) for finding in (_failed(judged, source, say, 0.9 / SEARCHES) if new else failed)}
        caused = tuple(finding for finding in failed if _about(finding) not in known)
        tried.append(Routed(stretches, new, failed, caused, seed + number))
        if not caused:
            break
    best = min(tried, key=lambda routed: (len(routed.caused), len(routed.failed)))
    if best is not tried[-1]:
        write_routes(best.stretches, source, target)
    return best


def _stretches(scene: Scene, carry: str | None, seed: int, nearer_m: float, tell: Tell) -> tuple[Stretch, ...]:
    """Return the ways of a carry; with those before it where there is none from where they leave the arm."""
    found = find_routes(scene, carry=carry, seed=seed, nearer_m=nearer_m, tell=tell)
    if carry is None or all(map(_free, found)):
        return found
    whole = find_routes(scene, carry=None, seed=seed, nearer_m=nearer_m, tell=tell)
    if not all(_free(stretch) for stretch in whole if stretch.carry == carry):
        return found
    names = [item.name for item in scene.loaded.scenario.carries]
    return tuple(stretch for stretch in whole if names.index(stretch.carry) <= names.index(carry))


def _free(stretch: Stretch) -> bool:
    return stretch.way is not None and stretch.way.free


def _about(finding: Finding) -> tuple[str, str]:
    return finding.check, finding.subject


def _part(say: Tell, share: float) -> Tell:
    """Tell of the first half of one search as a share of all."""
    return lambda words, done: say(words, share + 0.5 * done / SEARCHES)


def _failed(judged: Judged, path: Path, say: Tell, share: float) -> tuple[Finding, ...]:
    found = judged(path, lambda words, _: say(f"checking {path.name}: {words}", share))
    return tuple(finding for finding in found if finding.verdict is Verdict.FAIL)
