"""Beginning from nothing: people, items and restraint are put somewhere, what is to be brought is said and written out.

A scenario with its models alone is enough. An intent is planned as ever; written out, its moves stand in the script and
are changed one by one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from armcarry.editing.script import Change, Op
from armcarry.editing.standing import Standing
from armcarry.errors import InputError
from armcarry.files.documents.carries import INTENT_KINDS
from armcarry.files.plain import plain

if TYPE_CHECKING:
    from armcarry.editing.answer import Answer


#: keys of a script whose values may be found for its intents
_FOUND = ("base", "start", "restraint")


class Begun(Standing):
    """More acts of a session."""

    def item(self, name: str, model: str, at: str) -> Answer:
        """Put hardware into a seat or onto a frame at the start; one of that name is put there instead."""
        return self._put_in("hardware", name, {"model": model, "at": at}, f"{name} at {at}")

    def person(self, name: str, body: str, size: str, posture: str, at: str) -> Answer:
        """Have somebody stand somewhere at the start: ``arm``, the airlock or a worksite, as the script writes it."""
        said = {"body": body, "size": size, "posture": posture, "at": at}
        return self._put_in("crew", name, said, f"{name} at {at}")

    def restraint(self, model: str, at: str = "arm", settings: Mapping[str, float] | None = None) -> Answer:
        """Put the foot restraint somewhere at the start, its adjustments in rad."""
        from armcarry.editing.moves import angle

        said: dict[str, Any] = {"model": model, "at": at}
        if settings:
            said["settings"] = {name: angle(value) for name, value in settings.items()}
        return self.change(Change(f"restraint at {at}", (Op("set", ("restraint",), said),)))

    def _put_in(self, key: str, name: str, said: Mapping[str, Any], title: str) -> Answer:
        now = self.script.data.get(key) or {}
        value = {**now.get(name, {}), **said}
        return self.change(Change(title, (Op("set", (key,), plain({**now, name: value})),)))

    def bring(self, what: str, to: str, by: str | None = None) -> Answer:
        """Have an item fetched from where it sits and placed at a worksite: the end of the last carry, or a new one.

        Args:
            what: the item.
            to: a worksite with a seat that accepts it.
            by: whose hands do it; left out, the rider aboard.
        """
        return self.change(self.brought(what, to, by))

    def brought(self, what: str, to: str, by: str | None = None) -> Change:
        """Return the change that ``bring`` makes; where nothing is flown yet, the base's place is left to be found."""
        said = {"what": what, "to": to, **({} if by is None else {"by": by})}
        move, title = {"bring": said}, f"bring {what} to {to}"
        carries = self.script.data.get("carries") or []
        last = len(carries) - 1
        if carries and isinstance(carries[last].get("moves"), list):
            op = Op("insert", ("carries", last, "moves", len(carries[last]["moves"])), move)
        else:
            op = Op("set", ("carries",), [*carries, {"name": f"{what}_to_{to}", "title": title, "moves": [move]}])
        base = self.script.data.get("base") or {}
        found = {key: value for key, value in base.items() if key != "station"}
        open_ = () if carries or found == base else (Op("set", ("base",), found),)
        return Change(title, (op, *open_))

    def write_out(self, at: tuple[int, int]) -> Answer:
        """Write the moves that followed from an intent in its place, so that they can be changed one by one.

        Where the base stands, the arm starts and the restraint is set, as it was found for them, is written too. What
        is left to be found (``way: find``) is found again where the moves are changed.
        """
        if self.kind(at) not in INTENT_KINDS:
            raise InputError(f"'{self.title(at)}' is no intent", file=self.path, found=self.kind(at),
                             accepted=", ".join(INTENT_KINDS))  # fmt: skip
        flown, source = self.flown(at), self.answer.record.scene.loaded.source
        if not flown or source is None:
            raise InputError(f"'{self.title(at)}' is not flown: the run ends before it", file=self.path)
        names = {carry["name"]: carry["moves"] for carry in source.yaml.data["carries"]}
        moves = [plain(names[one.carry][one.number - 1]) for one in flown]
        path = ("carries", at[0], "moves", at[1])
        there = tuple(Op("insert", path, move) for move in reversed(moves))
        places = {key: plain(source.yaml.data[key]) for key in _FOUND if key in source.yaml.data}
        kept = (Op("set", (key,), value) for key, value in places.items() if self.script.data.get(key) != value)
        words = f"{self.title(at)}: written out, {len(moves)} moves"
        return self.change(Change(words, (Op("remove", path), *there, *kept)))
