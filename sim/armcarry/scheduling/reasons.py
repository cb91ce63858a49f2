"""Why a way on leaves a step out, hands it over, or does it in another order, a few words each."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from armcarry.scheduling.problem import Requires
from armcarry.scheduling.rest import Rest

HOME = "all go home"
SOONER = "all is done sooner so"


def why_left(rest: Rest, done: Collection[str]) -> dict[str, str]:
    """Return step -> why it is left out, of those that were to come.

    Args:
        done: the steps of the rest that are done.
    """
    needs: dict[str, list[str]] = {}
    for one in rest.problem.statements_of(Requires):
        if isinstance(one, Requires):
            needs.setdefault(one.job, []).extend(one.others)
    found = {}
    for name in rest.coming:
        if name not in rest.tasks:
            found[name] = HOME
        elif name in rest.plan.schedule.tasks_done() and name not in done:
            found[name] = _why(rest, name, {one: [other for other in others if other not in done]
                                            for one, others in needs.items()})  # fmt: skip
    return found


def _why(rest: Rest, name: str, lacking: Mapping[str, Collection[str]]) -> str:
    """Return why a step is left out; of those that need others which are not done, why the first of these is not."""
    if rest.impossible(name):
        step = rest.plan.step(name)
        failed = sorted(rest.broken & set(rest.found_all[name].touches))
        unable = [who for who in step.actors if who in rest.turn.unable]
        return f"{failed[0]} failed" if failed else f"{unable[0]} is unable"
    if rest.aim == "home":
        return HOME
    needed, open_ends = dict.fromkeys([name]), [name]
    while open_ends:
        more = [other for other in lacking.get(open_ends.pop(0), ()) if other not in needed]
        needed |= dict.fromkeys(more)
        open_ends += more
    stopped = next((other for other in needed if rest.impossible(other)), None)
    if stopped is not None:
        return f"{stopped} is not done"
    return "limits leave no time for it" if rest.within else "it may be left out, and all ends sooner"


def why_changed(rest: Rest, handed: Mapping[str, tuple[str, str]], reordered: Collection[str]) -> dict[str, str]:
    """Return step -> why somebody else does it, or it is done in another order."""
    found = dict.fromkeys(reordered, SOONER)
    for name, (one, _) in handed.items():
        found[name] = f"{one} is unable" if one in rest.turn.unable else SOONER
    return found
