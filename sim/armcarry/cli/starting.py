"""Commands to begin with: what a key means."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from armcarry.cli.base import Json, app, print_json


@app.command()
def explain(
    key: Annotated[
        str, typer.Argument(metavar="KEY", help="Key of a document, or its path: rate, moves.rate, arm.base.")
    ],
    as_json: Json = False,
) -> None:
    """Say what a key of a document means.

    Unit, range, default and an example too. All keys: shared/reference.

    Exit code: 0 explained, 2 no such key, or bad usage.
    """
    from armcarry.files.reference import explain as find

    found = find(key)
    if as_json:
        print_json({"keys": [{**asdict(one), "path": one.spelled} for one in found]})
        return
    told: dict[tuple[str, ...], list[str]] = {}
    for one in found:
        default = "it must be there" if one.required else one.default or "none"
        lines = [one.meaning, *([f"one of: {one.takes}" if ", " in one.takes else one.takes] if one.takes else [])]
        lines += [f"default: {default}", f"example: {one.example}"]
        lines += [f"holds: {', '.join(one.holds)}"] if one.holds else []
        told.setdefault(tuple(lines), []).append(f"{one.document}: {one.spelled}")
    for words, places in told.items():
        typer.echo("\n".join([*places, *(f"  {line}" for line in words)]))
