"""The commands `setup list` and `setup play`: the guides from a terminal."""

from typing import Annotated, Any

import typer

from readings import BadInputError, format_length
from setups import GUIDES, Guide
from ui.home import Home
from ui.output import put_json, put_table, tell

Size = Annotated[
    list[str] | None,
    typer.Option("--size", help="A size that the guide asks for, as KEY=MM; may be repeated."),
]


def setup_list(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """List the guided setups: what each is for, how the dial is seen, what is asked."""
    if as_json:
        put_json([_fields(guide) for guide in GUIDES.values()])
        return
    put_table(
        "Setups",
        ("guide", "title", "camera", "tolerance", "of", "asks for"),
        (
            (
                guide.key,
                guide.title,
                ", ".join(guide.layouts),
                format_length(guide.default_tolerance_mm),
                guide.tolerance_words,
                ", ".join(size.key for size in guide.sizes),
            )
            for guide in GUIDES.values()
        ),
    )


def _fields(guide: Guide) -> dict[str, object]:
    return {
        "guide": guide.key,
        "title": guide.title,
        "purpose": guide.purpose,
        "layouts": guide.layouts,
        "surface": guide.surface,
        "tolerance_mm": guide.default_tolerance_mm,
        "tolerance_of": guide.tolerance_words,
        "sizes": [
            {"key": s.key, "label": s.label, "default": s.default, "low": s.low, "high": s.high}
            for s in guide.sizes
        ],
        "steps": [{"key": s.key, "kind": s.kind, "title": s.title} for s in guide.steps],
    }


def setup_play(
    context: typer.Context,
    guide: Annotated[str, typer.Argument(help="A guide (see: setup list).")],
    job: Annotated[str, typer.Option(help="The job's name in the book.")] = "Bench",
    part: Annotated[str, typer.Option(help="The part's name.")] = "Part 1",
    operation: Annotated[str, typer.Option(help="What is set up for.")] = "Setup",
    tolerance_mm: Annotated[
        float | None, typer.Option("--tolerance-mm", help="Tolerance; the guide's own without.")
    ] = None,
    diameter_mm: Annotated[
        float | None, typer.Option("--diameter-mm", help="Diameter of a bore or boss.")
    ] = None,
    tolerance_source: Annotated[
        str | None, typer.Option("--tolerance-source", help="Where the tolerance comes from.")
    ] = None,
    machine: Annotated[
        str | None, typer.Option(help="The machine's name; trends go by it.")
    ] = None,
    sizes: Size = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with the setup that is running.")
    ] = False,
    of_demo: Annotated[bool, typer.Option("--demo", help="Play on the running demo.")] = False,
) -> None:
    """Walk a guided setup from this terminal, beside or instead of the dashboard.

    The service must run (`sparehand run` or `demo`). Enter means next; a line of a list
    wants its own number; q leaves, the setup goes on.
    """
    from ui.setup_play import ask_at_terminal, play

    if guide not in GUIDES:
        msg = f"There is no guide '{guide}'; there are {', '.join(GUIDES)}."
        raise BadInputError(msg)
    home: Home = context.obj
    order: dict[str, Any] = {
        "guide": guide,
        "job": job,
        "part": part,
        "operation": operation,
        "sizes": sizes_of(sizes or []),
    }
    more = {
        "tolerance_mm": tolerance_mm,
        "diameter_mm": diameter_mm,
        "tolerance_source": tolerance_source,
        "machine": machine,
    }
    order |= {key: value for key, value in more.items() if value is not None}
    folder = (home.demo if of_demo else home).folder
    done = play(folder, None if resume else order, ask_at_terminal, tell)
    if not done:
        tell("Left: the setup goes on; take it up again with --resume.")


def sizes_of(given: list[str]) -> dict[str, float]:
    """Return sizes as they stand on a command line, KEY=MM; refuse what is none."""
    sizes = {}
    for word in given:
        key, _, number = word.partition("=")
        try:
            sizes[key] = float(number)
        except ValueError as error:
            msg = f"--size {word} is no size: give KEY=MM, like arm=100."
            raise BadInputError(msg) from error
    return sizes


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `setup`."""
    app.command("list")(setup_list)
    app.command("play")(setup_play)
