"""Attributes and numbers of URDF elements, each refusal with file and line."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.xml_text import Element
from armcarry.files.yaml_text import shorten
from armcarry.geometry import poses
from armcarry.geometry.poses import Array

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_NAME = re.compile(r"[A-Za-z0-9_.-]{1,64}")
#: links and joints of others are often named in levels
_LEVELS = re.compile(r"(?=.{1,64}$)[A-Za-z0-9_.-]+(/[A-Za-z0-9_.-]+)*")
#: larger than any platform; a value beyond is a slip of units
LARGEST = 1e6


@dataclass(frozen=True)
class Part:
    """An element with the file it stands in, and checked access to what it holds."""

    element: Element
    path: Path

    @property
    def tag(self) -> str:
        """The element's tag."""
        return self.element.tag

    def refuse(self, problem: str, *, found: object = None, accepted: str | None = None) -> InputError:
        """Return (not raise) a problem at this element."""
        if isinstance(found, str):
            found = shorten(found)
        return InputError(problem, file=self.path, line=self.element.line, found=found, accepted=accepted)

    def attributes(
        self, required: Iterable[str] = (), optional: Iterable[str] = (), *, extended: bool = False
    ) -> dict[str, str]:
        """Return the attributes. Raises InputError when one is missing or unknown.

        Args:
            required, optional: what is known.
            extended: other tools add their own here, so that only what looks like a slip is refused.
        """
        required = tuple(required)
        known = (*required, *optional)
        for name in self.element.attributes:
            if name not in known and not (extended and not names.is_slip(name, known)):
                accepted = names.accepted(name, known, "attribute")
                raise self.refuse(f"unknown attribute '{shorten(name)}' of <{self.tag}>", accepted=accepted)
        for name in required:
            if name not in self.element.attributes:
                raise self.refuse(f"<{self.tag}> has no attribute '{name}'")
        return self.element.attributes

    def children(self, known: Iterable[str], passed_over: Iterable[str] = (), *, extended: bool = False) -> None:
        """Refuse child elements that are neither known nor passed over on purpose; ``extended`` as for attributes."""
        known = tuple(known)
        for child in self.element.children:
            if child.tag in known or child.tag in passed_over or ":" in child.tag:
                continue
            if not extended or names.is_slip(child.tag, known):
                raise Part(child, self.path).refuse(
                    f"unknown element <{shorten(child.tag, 40)}> in <{self.tag}>",
                    accepted=names.accepted(child.tag, known, "element"),
                )

    def one(self, tag: str) -> Part | None:
        """Return the only child of a tag, None where there is none. Raises InputError for two."""
        found = self.element.all(tag)
        if len(found) > 1:
            raise Part(found[1], self.path).refuse(f"a second <{tag}> in <{self.tag}>", accepted="one")
        return Part(found[0], self.path) if found else None

    def need(self, tag: str) -> Part:
        """Return the only child of a tag. Raises InputError when there is none or two."""
        part = self.one(tag)
        if part is None:
            raise self.refuse(f"<{self.tag}> has no <{tag}>")
        return part

    def name(self, attribute: str = "name", *, levels: bool = False) -> str:
        """Return an attribute that is a name, checked; of a link or joint it may have levels. Raises InputError."""
        name = self.element.attributes.get(attribute, "")
        if not (_LEVELS if levels else _NAME).fullmatch(name):
            accepted = f"1 to 64 letters, digits, underscores, dots, hyphens{', slashes between' if levels else ''}"
            raise self.refuse(f"<{self.tag}> needs a {attribute}", found=name, accepted=accepted)
        return name

    def numbers(self, attribute: str, count: int, largest: float = LARGEST) -> tuple[float, ...]:
        """Return ``count`` finite numbers of an attribute. Raises InputError."""
        text = self.element.attributes[attribute]
        words = text.split()
        values = [float(word) if _NUMBER.fullmatch(word) else math.nan for word in words[: count + 1]]
        if len(words) != count or not all(math.isfinite(value) for value in values):
            accepted = "a finite number" if count == 1 else f"{count} finite numbers, spaces between"
            raise self.refuse(f"<{self.tag} {attribute}>: not what is accepted", found=text, accepted=accepted)
        if max(abs(value) for value in values) > largest:
            raise self.refuse(
                f"<{self.tag} {attribute}>: too large to be meant", found=text, accepted="metres and radians"
            )
        return tuple(values)

    def number(self, attribute: str) -> float:
        """Return one finite number of an attribute. Raises InputError."""
        return self.numbers(attribute, 1)[0]

    def size(self, attribute: str) -> float:
        """Return one number above zero, in metres. Raises InputError."""
        value = self.number(attribute)
        if value <= 0:
            raise self.refuse(f"<{self.tag} {attribute}>: no size", found=value, accepted="metres, more than 0")
        return value

    def origin(self) -> Array:
        """Return the pose (4, 4) of the child <origin>; identity where there is none (urdfdom's default).

        Raises:
            InputError: numbers that are not finite, or a form other than xyz and rpy.
        """
        part = self.one("origin")
        if part is None:
            return poses.identity()
        given = part.attributes((), ("xyz", "rpy"))
        xyz = part.numbers("xyz", 3) if "xyz" in given else (0.0, 0.0, 0.0)
        rpy = part.numbers("rpy", 3) if "rpy" in given else (0.0, 0.0, 0.0)
        return poses.from_xyz_rpy(xyz, rpy)
