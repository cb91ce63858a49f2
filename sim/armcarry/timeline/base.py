"""The rail: how far the trolley under the arm can go between the carts, and what moving a cart changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from armcarry.errors import FrameError, InputError

#: what ends a stretch of free rail when it is not a cart
RAIL_END = "rail_end"
TROLLEY = "trolley"
#: bodies may stand buffer to buffer; shorter than this is rounding, m
TOUCH_M = 1e-9


@dataclass(frozen=True)
class RailCart:
    """A cart on the rail: its middle at ``station_m``, half its length to either side."""

    station_m: float
    half_length_m: float


@dataclass(frozen=True)
class Travel:
    """Stations the middle of something may take, and what stops it at either end."""

    lower_m: float
    upper_m: float
    lower_by: str
    upper_by: str


@dataclass(frozen=True)
class Refusal:
    """Why something on the rail cannot go where it should: what blocks it, and how far it gets."""

    what: str
    wanted_m: float
    blocked_by: str
    reaches_m: float

    @property
    def message(self) -> str:
        """One sentence for people."""
        blocker = "the end of the rail" if self.blocked_by == RAIL_END else self.blocked_by
        return (
            f"{self.what} cannot stand at {self.wanted_m:.2f} m on the rail: {blocker} blocks it; "
            f"it gets to {self.reaches_m:.2f} m"
        )


@dataclass(frozen=True)
class Rail:
    """The rail with the trolley and the carts on it; moving one gives a new Rail.

    Attributes:
        lower_m, upper_m: ends of the rail.
        trolley: the arm's base, None when the arm stands on a fixed mount.
        carts: carts on the rail; one that is lifted off is in ``lifted``.
    """

    lower_m: float
    upper_m: float
    trolley: RailCart | None = None
    carts: Mapping[str, RailCart] = field(default_factory=dict)
    lifted: Mapping[str, float] = field(default_factory=dict)

    def overlaps(self) -> tuple[tuple[str, str], ...]:
        """Return pairs of things that take up the same stretch of rail, by name."""
        things = sorted(self._things().items(), key=lambda item: (item[1].station_m, item[0]))
        return tuple(
            (a, b)
            for k, (a, first) in enumerate(things)
            for b, second in things[k + 1 :]
            if second.station_m - first.station_m < first.half_length_m + second.half_length_m - TOUCH_M
        )

    def travel(self, what: str = TROLLEY) -> Travel:
        """Return where the trolley or a cart may go by rolling, between its neighbours and the rail's ends.

        Raises:
            FrameError: it is not on the rail.
        """
        me = self._thing(what)
        lower, upper = self.lower_m + me.half_length_m, self.upper_m - me.half_length_m
        lower_by = upper_by = RAIL_END
        for name, other in sorted(self._things().items()):
            reach = other.half_length_m + me.half_length_m
            if name == what:
                continue
            if other.station_m <= me.station_m and other.station_m + reach > lower:
                lower, lower_by = other.station_m + reach, name
            elif other.station_m > me.station_m and other.station_m - reach < upper:
                upper, upper_by = other.station_m - reach, name
        return Travel(lower, upper, lower_by, upper_by)

    def roll(self, what: str, to_m: float) -> tuple[Rail, Refusal | None]:
        """Roll the trolley or a cart to a station; a refused one stays where it was."""
        travel = self.travel(what)
        if to_m < travel.lower_m - TOUCH_M:
            return self, Refusal(what, to_m, travel.lower_by, travel.lower_m)
        if to_m > travel.upper_m + TOUCH_M:
            return self, Refusal(what, to_m, travel.upper_by, travel.upper_m)
        return self._with(what, replace(self._thing(what), station_m=to_m)), None

    def lift(self, cart: str) -> Rail:
        """Take a cart off the rail. Raises FrameError when it is not on it."""
        half = self.carts[self._cart(cart)].half_length_m
        carts = {name: thing for name, thing in self.carts.items() if name != cart}
        return replace(self, carts=carts, lifted={**self.lifted, cart: half})

    def set_down(self, cart: str, at_m: float) -> tuple[Rail, Refusal | None]:
        """Put a lifted cart on the rail; refused, it stays lifted, where something stands or the rail ends.

        Raises:
            InputError: the cart is not lifted.
        """
        if cart not in self.lifted:
            raise InputError(f"{cart} is not lifted off the rail", accepted=", ".join(self.lifted) or "none is")
        half = self.lifted[cart]
        for name, other in sorted(self._things().items()):
            reach = half + other.half_length_m
            if abs(at_m - other.station_m) < reach - TOUCH_M:
                side = 1.0 if at_m >= other.station_m else -1.0
                return self, Refusal(cart, at_m, name, other.station_m + side * reach)
        nearest = min(max(at_m, self.lower_m + half), self.upper_m - half)
        if abs(nearest - at_m) > TOUCH_M:
            return self, Refusal(cart, at_m, RAIL_END, nearest)
        lifted = {name: length for name, length in self.lifted.items() if name != cart}
        return replace(self, carts={**self.carts, cart: RailCart(at_m, half)}, lifted=lifted), None

    def _things(self) -> dict[str, RailCart]:
        return dict(self.carts) if self.trolley is None else {TROLLEY: self.trolley, **self.carts}

    def _thing(self, what: str) -> RailCart:
        things = self._things()
        if what not in things:
            raise FrameError("cart on the rail", what, things)
        return things[what]

    def _cart(self, cart: str) -> str:
        if cart not in self.carts:
            raise FrameError("cart on the rail", cart, self.carts)
        return cart

    def _with(self, what: str, thing: RailCart) -> Rail:
        if what == TROLLEY:
            return replace(self, trolley=thing)
        return replace(self, carts={**self.carts, what: thing})
