"""What the window does to the day: a step that was dragged, an instant that was clicked, all of it written out."""

from __future__ import annotations

from collections.abc import Callable

from armcarry.quantities import clock
from armcarry.views.editing.day import DayLine
from armcarry.views.editing.flying import Flying


class Daily(Flying):
    """The part of the window that is about the day.

    Attributes:
        day: its steps as bars; None without a day.
    """

    day: DayLine | None

    def on_move(self, act: Callable[[tuple[int, int]], object]) -> None:
        """Do something to the chosen move."""
        raise NotImplementedError

    def drag_step(self, name: str, to_s: float, to: str, whose: str) -> None:
        """Have a step of the day begin about an instant, and be done by whoever's lane it was dragged into."""
        self.do(lambda: self.session.drag(name, to_s, None if to == whose else to, whose))

    def show_time(self, time_s: float) -> None:
        """Show an instant of the day."""
        self.scene.show(time_s, None, None)
        if self.day is not None:
            self.day.show_time(time_s)
        self.say(clock(time_s))

    def write_out(self) -> None:
        """Write out the moves that followed from the chosen intent, or the day."""
        if self.day is not None:
            self.do(self.session.spell_out)
        else:
            self.on_move(self.session.write_out)
