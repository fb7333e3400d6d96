"""`print board | target | collar`: true-size PDF or SVG of what the camera is shown."""

from pathlib import Path
from typing import Annotated
from xml.sax.saxutils import escape

import typer

from calibration.sheets import Disc, Rect, Sheet, Words
from readings import BadInputError
from ui.output import tell

Paper = Annotated[str, typer.Option(help="a4 or letter.")]
Out = Annotated[Path | None, typer.Option(help="Where it goes: a .pdf or a .svg.")]


def print_board(
    paper: Paper = "a4",
    corners: Annotated[str, typer.Option(help="Inner corners each way.")] = "9x6",
    square_mm: Annotated[float, typer.Option("--square-mm", help="Side of a square.")] = 25.0,
    out: Out = None,
) -> None:
    """Print the board that `camera calibrate` wants."""
    from calibration.sheets import board_sheet
    from ui.camera_cli import board_of

    write(board_sheet(board_of("charuco", corners, square_mm), paper), out)


def print_target(
    number: Annotated[int, typer.Option(help="The target's number, 0 to 24.")] = 0,
    size_mm: Annotated[float, typer.Option("--size-mm", help="Across, 20 to 150.")] = 60.0,
    paper: Paper = "a4",
    out: Out = None,
) -> None:
    """Print a flat target."""
    from calibration.sheets import target_sheet

    write(target_sheet(number, size_mm, paper), out)


def print_collar(
    diameter_mm: Annotated[
        float, typer.Option("--diameter-mm", help="Of what it goes round, as measured.")
    ],
    markers: Annotated[int, typer.Option(help="Markers round it.")] = 16,
    paper: Paper = "a4",
    out: Out = None,
) -> None:
    """Print the strip of markers that goes round what turns."""
    from calibration.collars import Collar
    from calibration.sheets import collar_sheet

    write(collar_sheet(Collar(markers), diameter_mm, paper), out)


def write(sheet: Sheet, out: Path | None) -> None:
    """Write a sheet as PDF or SVG by the file's ending.

    Raises
    ------
    BadInputError
        If the ending is neither, or the file cannot be written.
    """
    path = out or Path(f"{sheet.title}.pdf")
    makers = {".pdf": as_pdf, ".svg": as_svg}
    make = makers.get(path.suffix.lower())
    if make is None:
        msg = f"{path} is neither a .pdf nor a .svg: name the file with one of these endings."
        raise BadInputError(msg)
    try:
        path.write_bytes(make(sheet))
    except OSError as error:
        msg = f"{path} cannot be written ({error.strerror})."
        raise BadInputError(msg) from error
    tell(f"Written to {path}: print at 100 %, then measure both ruler lines.")


def as_pdf(sheet: Sheet) -> bytes:
    """Return a sheet as a one-page vector PDF of its true size."""
    try:
        from fpdf import FPDF
    except ImportError as error:
        msg = "a PDF wants the extra 'app' (pip install 'sparehand[app]'); a .svg needs nothing."
        raise BadInputError(msg) from error
    page = FPDF(unit="mm", format=(sheet.width_mm, sheet.height_mm))
    page.set_auto_page_break(False)
    page.set_margin(0)
    page.add_page()
    for shape in sheet.shapes:
        if isinstance(shape, Words):
            page.set_font("helvetica", size=shape.size / 0.72 * 72 / 25.4)
            page.text(shape.x, shape.y, shape.text)
            continue
        page.set_fill_color(0 if shape.black else 255)
        if isinstance(shape, Rect):
            page.rect(shape.x, shape.y, shape.width, shape.height, style="F")
        else:
            page.circle(shape.x, shape.y, shape.radius, style="F")
    return bytes(page.output())


def as_svg(sheet: Sheet) -> bytes:
    """Return a sheet as SVG of its true size."""
    body = "\n".join(_svg(shape) for shape in sheet.shapes)
    size = f'width="{sheet.width_mm:g}mm" height="{sheet.height_mm:g}mm"'
    box = f'viewBox="0 0 {sheet.width_mm:g} {sheet.height_mm:g}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box} shape-rendering="crispEdges">'
    return f"{head}\n{body}\n</svg>\n".encode()


def _svg(shape: Rect | Disc | Words) -> str:
    if isinstance(shape, Words):
        text = escape(shape.text)
        style = f'font-family="sans-serif" font-size="{shape.size / 0.72:.3f}"'
        return f'<text x="{shape.x:.4f}" y="{shape.y:.4f}" {style}>{text}</text>'
    fill = "#000" if shape.black else "#fff"
    if isinstance(shape, Disc):
        place = f'cx="{shape.x:.4f}" cy="{shape.y:.4f}" r="{shape.radius:.4f}"'
        return f'<circle {place} fill="{fill}"/>'
    place = f'x="{shape.x:.4f}" y="{shape.y:.4f}"'
    return f'<rect {place} width="{shape.width:.4f}" height="{shape.height:.4f}" fill="{fill}"/>'


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `print`."""
    app.command("board")(print_board)
    app.command("target")(print_target)
    app.command("collar")(print_collar)
