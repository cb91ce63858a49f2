"""People on and off the arm in a day by intent: getting on and off, changing places, the restraint on and off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from armcarry.files.day_state import DayState, Exchange
from armcarry.files.documents.bodies import RestraintDocument
from armcarry.files.documents.day_intents import Board, Fit, Leave, Stow, Swap
from armcarry.files.documents.steps import ARM, Step
from armcarry.files.fitting import Bare, mount_in_plate
from armcarry.files.script import RESTRAINT
from armcarry.files.spell import Visit
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write
from armcarry.texts import as_words


class ClimbSpeller(DayState):
    """Spells out the intents in which people get on or off the arm."""

    def _board(self, path: YamlPath, board: Board, step: Step) -> None:
        if not self.person((*path, "who"), board.who) or self.known.site((*path, "at"), board.at) is None:
            return
        if not self.afoot((*path, "who"), board.who):
            return
        if self.riders:
            self.known.tell((*path, "who"), f"{self.riders[0]} is on the arm by then", "leave or swap before it")
            return
        self.come((*path, "at"), Visit(board.at, False, path, said=board.base), board.pin)
        if self.places[board.who] != board.at:
            self.walk(board.who, board.at, follows=True)
        self.get_on(path, board.who, step)

    def _leave(self, path: YamlPath, leave: Leave, step: Step) -> None:
        who = self.rider((*path, "who"), leave.who)
        if who is None:
            return
        if leave.at is not None:
            if self.known.site((*path, "at"), leave.at) is None:
                return
            self.come((*path, "at"), Visit(leave.at, False, path, said=leave.base), leave.pin)
        self.get_off(path, who, None if leave.to is None else self.frame(leave.to), step)

    def _swap(self, path: YamlPath, swap: Swap) -> None:
        off = self.rider((*path, "off"), swap.off)
        if off is None or not self.person((*path, "on"), swap.on) or not self.afoot((*path, "on"), swap.on):
            return
        found = self.found_place()
        if swap.at is not None:
            if self.known.site((*path, "at"), swap.at) is None:
                return
            self.come((*path, "at"), Visit(swap.at, False, path, found.shift, swap.base), swap.pin)
        at = self.ways.at
        named = None if at is None else self.known.platform.worksites[at.worksite].handrail
        rail = self.known.platform.handrails.get(named or "")
        near, far = (None, None) if rail is None else self.ends(rail, swap.on)
        if swap.waits or found.on:
            self.walk(swap.on, self.frame(str(swap.waits or found.on)), follows=True)
        elif near is not None and not self.places[swap.on].startswith("platform/"):
            self.walk(swap.on, near, follows=True)
        to = swap.to or found.off or far
        steps = (self.get_off(path, off, None if to is None else self.frame(to), None),
                 self.get_on(path, swap.on, None, follows=True))  # fmt: skip
        said = {"on": swap.waits, "off": swap.to, "shift": None if swap.at else "where the arm is"}
        self._exchange(path, "swap", swap.at, steps, said)

    def _exchange(
        self, path: YamlPath, kind: str, at: str | None, steps: Sequence[str], said: Mapping[str, object], who: str = ""
    ) -> None:
        words = tuple(key for key, value in said.items() if value)
        self.exchanges.append(Exchange(path, kind, at, tuple(filter(None, steps)), words, who))

    # -- the restraint on and off -------------------------------------------------------------------------------------

    def _fit(self, path: YamlPath, fit: Fit) -> None:
        """Bring the bare tip to where the plate stands at a worksite, where a worker fits the restraint to it."""
        document = self._one_restraint(path)
        if document is None or not self.person((*path, "who"), fit.who) or not self.afoot((*path, "who"), fit.who):
            return
        if not self.off_arm:
            self.known.tell(path, "the restraint is on the arm by then", f"board: {{who: {fit.who}, at: WORKSITE}}")
            return
        if self.off_arm.endswith("/hands"):
            self.known.tell(path, f"the restraint is at {self.off_arm} by then", "a step with fit_restraint")
            return
        socket, found = self.off_arm, self.found_place()
        held = found.held
        at = self._with_socket(path, fit.at, socket)
        if at is None:
            return
        visit = Visit(at, False, path, found.shift, fit.base, self._bare(document))
        self.come(path, visit, fit.pin)
        if self.places[fit.who] != at:
            self.walk(fit.who, at, follows=True)
        self._take_restraint(fit.who, "the restraint out of its socket", document, held)
        self.held_by = self.out.add("restraint_fit", "the restraint onto the arm", [fit.who], fit_restraint={},
                                    takes=document.fitting)  # fmt: skip
        self._set_restraint(fit.who, document, self._settings if held else {})
        self.off_arm, self.ways.at = "", replace(visit, bare=None)
        self._exchange(path, "fit", at, [self.out.texts[-1]["name"]], {}, fit.who)
        if fit.boards:
            self.get_on(path, fit.who, None)

    def _stow(self, path: YamlPath, stow: Stow) -> None:
        """Bring the arm to a worksite, and let its rider get off and put the restraint into a socket."""
        document, who = self._one_restraint(path), self.rider((*path, "who"), stow.who)
        if document is None or who is None:
            return
        sites, given = self.known.platform.worksites, stow.into
        if given is None and stow.at in sites:
            given = sites[str(stow.at)].socket
        start = self.known.source.document.all_restraints[RESTRAINT].at
        into = (given or ("" if start == ARM else start)).removeprefix("platform/")
        if not into:
            sockets = ", ".join(site.socket for site in sites.values() if site.socket)
            self.known.tell(path, "no socket is said for the restraint", f"into: one of {sockets or 'the sockets'}")
            return
        at, found = self._with_socket(path, stow.at, into), self.found_place()
        held = found.held
        if at is None:
            return
        visit = Visit(at, False, path, found.shift, stow.base)
        self.come(path, visit, stow.pin)
        self.get_off(path, who, None, None)
        self._take_restraint(who, "the restraint off the arm", document, held)
        self.held_by = self.out.add("restraint_seat", f"the restraint into {as_words(into)}", [who],
                                    seat={"what": RESTRAINT, "into": into}, takes=document.seating)  # fmt: skip
        self._set_restraint(who, document, self._settings if held else {})
        self.off_arm, self.ways.at = into, replace(visit, bare=self._bare(document))
        self._exchange(path, "stow", at, [self.out.texts[-1]["name"]], {}, who)
        self.fly(f"off_{at}", "back off", self.ways.leave())

    @property
    def _settings(self) -> Mapping[str, float]:
        """The settings of the restraint, said or found."""
        return self.known.source.document.all_restraints[RESTRAINT].settings or self.found_settings

    def _bare(self, document: RestraintDocument) -> Bare:
        return mount_in_plate(document, self.known.files["restraint", "model"].model(), self._settings)

    def _take_restraint(self, who: str, title: str, document: RestraintDocument, held: Mapping[str, float]) -> None:
        """Let somebody take the restraint, set so that it is clear of all in the hands."""
        self._set_restraint(who, document, held)
        self.out.add("restraint_take", title, [who], take={"what": RESTRAINT}, takes=document.taking)

    def _set_restraint(self, who: str, document: RestraintDocument, settings: Mapping[str, float]) -> None:
        """Let somebody turn the restraint to some settings, every other one to 0."""
        if settings:
            angles = {name: write(settings.get(name, 0.0), "angle") for name in document.settings}
            self.out.add("restraint_set", "the restraint turned", [who], set_restraint={"settings": angles},
                         takes=document.setting)  # fmt: skip

    def _one_restraint(self, path: YamlPath) -> RestraintDocument | None:
        """Return the document of the one restraint; a problem is added where there is none, or several."""
        if len(self.known.source.document.all_restraints) > 1:
            self.known.tell(path, "which of several restraints is not said", "plain steps: take and fit_restraint")
            return None
        document: RestraintDocument | None = self.restraint(path)
        return document

    def _with_socket(self, path: YamlPath, at: str | None, socket: str) -> str | None:
        """Return the worksite where the restraint is put on or off; a problem is added where there is none."""
        if at is not None:
            return at if self.known.site((*path, "at"), at) is not None else None
        sites, plain = self.known.platform.worksites, socket.removeprefix("platform/")
        found = next((name for name, site in sites.items() if site.socket == plain), None)
        if found is None:
            named = ", ".join(name for name, site in sites.items() if site.socket)
            self.known.tell(path, f"no worksite has the socket {plain}", f"at: a worksite; with sockets: {named}")
        return found
