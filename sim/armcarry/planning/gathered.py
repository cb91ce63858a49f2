"""Postures in which the base rolls with the arm gathered."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.planning.stops import Piece
from armcarry.planning.taking import Taking
from armcarry.planning.trial import Base
from armcarry.planning.ways import standing

#: postures drawn, how many of the roomy ones nearest to the arm's own are tried, and what is roomy, m
DRAWN, TRIED, ROOMY_M = 400, 4, 0.1


def gathered(taking: Taking, piece: Piece, here: Base, there: Base) -> Iterator[Array]:
    """Give postures to roll in: the arm's own for travel (its home if it has none), then ones near it with room.

    Others are drawn about it, with wider turns the nearer a joint is to the tip, which moves the load rather than the
    booms; those that have room at both ends of the roll come first, the nearest of them first. The same seed gives the
    same postures.
    """
    scene, arm = taking.scene, taking.scene.loaded.arm.document
    own = taking.at(piece, here)[1][scene.arm_columns].copy()
    for k, joint in enumerate(arm.joints):
        own[k] = (arm.travel or arm.home).get(joint, own[k])
    yield own
    spaces = [taking.space(piece, base) for base in (here, there)]
    limits = spaces[0].limits
    source = np.random.Generator(np.random.PCG64(1))
    wide = np.linspace(0.2, 1.5, len(own)) * np.where(np.arange(DRAWN) % 2, 1.0, 0.5)[:, None]
    drawn = np.clip(own + wide * source.normal(size=(DRAWN, len(own))), limits[:, 0], limits[:, 1])
    room = np.min([space.margins(standing(drawn), give_up_m=-0.05).lower_m for space in spaces], axis=0)
    far = np.abs((drawn - own) / wide.max(axis=0)).max(axis=1)
    order = np.lexsort((far, -np.floor(np.minimum(room, ROOMY_M) / ROOMY_M)))
    yield from drawn[order[:TRIED]]
