"""Write a whole briefing into a run folder: page, glTF, movie, pictures, report, slides, procedures, cards, script."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from armcarry.comparing.flown import Flown
from armcarry.errors import ArmcarryError, InputError, RecordError
from armcarry.files.atomic import inner_folder
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views.bookmarks import Bookmark
from armcarry.views.brief.made import Made
from armcarry.views.brief.paper import Size
from armcarry.views.brief.pictures import Pictures
from armcarry.views.cuts import Cut
from armcarry.views.ways_kept import WaysKept

if TYPE_CHECKING:
    from armcarry.views.brief.step_pictures import TaskPicture

Tell = Callable[[str, float], None]

#: what can be asked for, in the order in which it is made
PARTS = ("page", "gltf", "movie", "report", "slides", "procedure", "cards", "script")


@dataclass
class Written:
    """The files of a briefing, what was left out, with the reason, and whether any could be made but not written."""

    files: list[Path] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)
    refused: bool = False


def check_parts(names: Sequence[str] | None) -> tuple[str, ...]:
    """Return the parts asked for, all of them when none is named.

    Raises:
        InputError: there is no such part.
    """
    for name in names or ():
        if name not in PARTS:
            raise InputError("no such part of a briefing", found=name, accepted=", ".join(PARTS))
    return tuple(names) if names else PARTS


def write_briefing(
    record: Record,
    findings: Sequence[Finding],
    folder: Path,
    *,
    parts: Sequence[str] = PARTS,
    paper: Size = "A4",
    cuts: tuple[Cut, ...] | None = None,
    progress: Tell | None = None,
    frozen: str = "",
    flown: Sequence[Flown] = (),
    marks: Sequence[Bookmark] = (),
    ways: WaysKept | None = None,
) -> Written:
    """Write the parts of a briefing.

    A part that needs a library or OpenGL that is missing is left out and named with the reason; the others
    are written. A cut that cannot be shown is refused.

    Args:
        record, findings: the run and what was found.
        folder: where; made when missing.
        parts: which of PARTS.
        paper: size of the printed ones.
        cuts: what the movie shows; the whole run in a minute when left out.
        progress: told what is being done and the share done.
        frozen: what is said of whether this is the frozen run.
        flown: its steps beside the times at which they were flown.
        marks: bookmarks kept of the run, for the page.
        ways: ways on that were found for it, for page and report.

    Raises:
        InputError: a cut cannot be shown.
        RecordError: the folder cannot be made, or is a link.
    """
    tell = progress or (lambda words, share: None)
    inner_folder(folder)
    written = Written()
    draw, made = _Drawn(record, findings, folder / "pictures"), Made(record, findings, frozen, flown, ways)
    tasks = _Tasks(made, folder / "pictures" / "tasks")
    makers: dict[str, Callable[[Tell], list[Path]]] = {
        "page": lambda say: _page(made, folder, marks, say),
        "gltf": lambda say: _gltf(record, folder, say),
        "movie": lambda say: _movie(made, folder, cuts, say),
        "report": lambda say: _report(made, folder, paper, draw(say, written)),
        "slides": lambda say: _slides(made, folder, draw(say, written), tasks(say, written), written),
        "procedure": lambda say: _procedure(made, folder, paper, say),
        "cards": lambda say: _cards(made, folder, paper, tasks(say, written)),
        "script": lambda say: _script(made, folder, say),
    }
    chosen = [part for part in PARTS if part in parts]
    for k, part in enumerate(chosen):
        try:
            written.files += makers[part](_share(tell, k / len(chosen), 1 / len(chosen)))
        except InputError:
            raise
        except RecordError as error:  # a full disk, a file that another program holds
            written.left_out[part], written.refused = str(error), True
        except ArmcarryError as error:
            written.left_out[part] = str(error)
    tell("the briefing is written", 1.0)
    return written


def _share(tell: Tell, start: float, width: float) -> Tell:
    return lambda words, share: tell(words, start + width * share)


def _page(
    made: Made, folder: Path, marks: Sequence[Bookmark], say: Tell
) -> list[Path]:
    from armcarry.views.page.write import write_page

    return [write_page(made.record, made.findings, folder / "run.html", say, marks, made.ways)]


def _gltf(record: Record, folder: Path, say: Tell) -> list[Path]:
    from armcarry.views.gltf import write_glb

    say("writing the scene as glTF", 0.0)
    return [write_glb(record, folder / "run.glb")]


def _movie(made: Made, folder: Path, cuts: tuple[Cut, ...] | None, say: Tell) -> list[Path]:
    from armcarry.views.cuts import chapters
    from armcarry.views.movie import write_movie
    from armcarry.views.subtitles import of_movie, write_vtt

    cuts = chapters(made.record, made.findings) if cuts is None else cuts
    movie = write_movie(made.record, folder / "run.mp4", cuts, findings=made.findings, tell=say)
    return [movie, write_vtt(of_movie(made.cues, cuts), folder / "run.vtt")]


class _Drawn:
    """The pictures, drawn when first asked for."""

    def __init__(self, record: Record, findings: Sequence[Finding], folder: Path) -> None:
        self._record, self._findings, self._folder = record, findings, folder
        self._pictures: Pictures | None = None

    def __call__(self, say: Tell, written: Written) -> Pictures:
        from armcarry.views.brief.pictures import draw

        if self._pictures is None:
            self._pictures = draw(self._record, self._folder, self._findings, say)
            written.files += [picture.path for picture in (*self._pictures.views, *self._pictures.plots)]
            if self._pictures.left_out:
                written.left_out["pictures"] = self._pictures.left_out
        return self._pictures


class _Tasks:
    """The pictures of all tasks, for slides and cards, drawn when first asked for."""

    def __init__(self, made: Made, folder: Path) -> None:
        self._made, self._folder = made, folder
        self._drawn: dict[str, TaskPicture] | None = None

    def __call__(self, say: Tell, written: Written) -> dict[str, TaskPicture]:
        from armcarry.views.brief.step_pictures import draw_tasks

        if self._drawn is None:
            made = self._made
            try:
                self._drawn = draw_tasks(made.record, made.procedure, made.cards, self._folder, say)
            except RecordError:
                raise
            except ArmcarryError as error:  # nothing can be drawn here: cards without pictures are cards
                self._drawn, written.left_out["pictures"] = {}, str(error)
        return self._drawn


def _report(made: Made, folder: Path, paper: Size, pictures: Pictures) -> list[Path]:
    from armcarry.views.brief.pictures import with_flown
    from armcarry.views.brief.report import write_report
    from armcarry.views.brief.report_pdf import write_report_pdf

    record, findings = made.record, made.findings
    if made.flown:
        pictures = with_flown(pictures, made.flown, folder / "pictures")
    page = write_report(record, findings, pictures, folder / "report.html", made.frozen, made.flown, made.ways)
    pdf = write_report_pdf(
        record, findings, pictures, folder / "report.pdf", paper, made.frozen, made.flown, made.ways
    )
    return [page, pdf]


def _slides(
    made: Made, folder: Path, pictures: Pictures, tasks: dict[str, TaskPicture], written: Written
) -> list[Path]:
    from armcarry.views.brief.deck import write_deck

    movie = folder / "run.mp4"
    shown = movie if movie in written.files else None
    return [write_deck(made.record, made.findings, pictures, folder / "slides.pptx", shown, made, tasks)]


def _script(made: Made, folder: Path, say: Tell) -> list[Path]:
    from armcarry.views.brief.script_md import write_script
    from armcarry.views.subtitles import on_the_clock, write_vtt

    say("writing the script", 0.0)
    motion = made.record.motion
    subtitles = on_the_clock(made.cues, motion.start_s, motion.end_s)
    return [
        write_script(made.procedure, made.cues, folder / "script.md"),
        write_vtt(subtitles, folder / "run_clock.vtt"),
    ]


def _procedure(made: Made, folder: Path, paper: Size, say: Tell) -> list[Path]:
    from armcarry.procedure.model import role
    from armcarry.views.brief.procedure_md import write_markdown
    from armcarry.views.brief.procedure_pdf import write_procedure_pdf
    from armcarry.views.brief.sheet import write_sheet

    say("writing the procedures", 0.0)
    told, written = made.procedure, list[Path]()
    for actor in told.actors:
        place = folder / f"procedure_{role(actor).replace(' ', '_')}"
        written.append(write_markdown(told, actor, place.with_suffix(".md"), made.frozen))
        written.append(write_procedure_pdf(told, actor, place.with_suffix(".pdf"), paper, made.frozen))
    written.append(write_sheet(told, folder / "everybody.pdf", "A3" if paper == "A4" else "Letter"))
    return written


def _cards(made: Made, folder: Path, paper: Size, tasks: dict[str, TaskPicture]) -> list[Path]:
    from armcarry.procedure.model import role
    from armcarry.views.brief.cards import write_cards

    record, told = made.record, made.procedure
    return [
        write_cards(record, told, actor, folder / f"cards_{role(actor).replace(' ', '_')}.pdf", paper,
                    told=made.cards, pictures=tasks)
        for actor in told.actors
    ]
