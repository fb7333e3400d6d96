"""Strokes of the PDF: words, rows, boxes and pictures on A4, in black and grey."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
from fpdf import FPDF
from fpdf.enums import XPos, YPos

from records.report.content import CAUTIONS, MISSING, PhotoShown

MARGIN_MM = 14.0
WIDTH_MM = 210.0 - 2 * MARGIN_MM
BOTTOM_MM = 297.0 - 20.0
_FONT = "DejaVu"
_NEXT: dict[str, Any] = {"new_x": XPos.LMARGIN, "new_y": YPos.NEXT}


class Paper(FPDF):
    """A4 pages with our font, a foot on each, and no breaks but those asked for."""

    def __init__(self, title: str, foot: str) -> None:
        super().__init__("P", "mm", "A4")
        fonts = Path(mpl.get_data_path()) / "fonts" / "ttf"
        self.add_font(_FONT, "", fonts / "DejaVuSans.ttf")
        self.add_font(_FONT, "B", fonts / "DejaVuSans-Bold.ttf")
        self.set_margins(MARGIN_MM, MARGIN_MM)
        self.c_margin = 0.0
        self.set_auto_page_break(False)
        self.set_title(title)
        self.set_creator("Sparehand")
        self._foot = foot

    def footer(self) -> None:
        """Write the foot of a page (fpdf2 asks for it)."""
        self.set_y(-17.0)
        self._font(6.5)
        self.set_draw_color(120)
        self.line(MARGIN_MM, self.get_y(), MARGIN_MM + WIDTH_MM, self.get_y())
        self.ln(1.0)
        self.multi_cell(WIDTH_MM, 3.0, CAUTIONS, align="L", **_NEXT)
        self.cell(WIDTH_MM, 3.2, f"{self._foot} · page {self.page_no()} of {{nb}}", align="L")

    def _font(self, size: float, style: str = "") -> None:
        self.set_font(_FONT, style, size)

    def room(self) -> float:
        """Return how many mm are left above the foot."""
        return BOTTOM_MM - self.get_y()

    def words(self, text: str, size: float = 8.5, style: str = "", width: float = WIDTH_MM) -> None:
        """Write a paragraph from the present place on, `width` mm wide."""
        self._font(size, style)
        left = self.get_x()
        self.multi_cell(width, size * 0.46, text, align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
        self.set_x(left)

    def lines(self, lines: Sequence[str], size: float = 9.0, keep_mm: float = 0.0) -> None:
        """Write a line each while there is room; what is left out is counted."""
        for number, line in enumerate(lines):
            if self.room() < keep_mm + 3 * size * 0.46:
                self.words(f"({len(lines) - number} more in the book)", size)
                return
            self.words(line, size)
            self.ln(0.5)

    def heading(self, text: str, width: float = WIDTH_MM) -> None:
        """Write a section's heading, with a rule under it."""
        left = self.get_x()
        self.ln(1.6)
        self.set_x(left)
        self.words(text, 9.5, "B", width)
        self.set_draw_color(0)
        self.set_line_width(0.2)
        self.line(left, self.get_y() + 0.3, left + width, self.get_y() + 0.3)
        self.set_xy(left, self.get_y() + 1.2)

    def pairs(
        self, rows: Sequence[tuple[str, str]], width: float, share: float = 0.4, size: float = 8.5
    ) -> None:
        """Write rows of a name and what belongs to it, from the present place on."""
        left = self.get_x()
        for name, value in rows:
            top = self.get_y()
            self._font(size)
            self.set_text_color(70)
            self.multi_cell(share * width - 2, size * 0.46, name, align="L", new_y=YPos.NEXT)
            under = self.get_y()
            self.set_text_color(0)
            self.set_xy(left + share * width, top)
            self.multi_cell((1 - share) * width, size * 0.46, value, align="L", new_y=YPos.NEXT)
            self.set_xy(left, max(under, self.get_y()) + 0.5)

    def grid(
        self, columns: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]
    ) -> None:
        """Write a table; what is too long for its cell wraps, a long table goes on overleaf."""
        left = self.get_x()
        self.set_auto_page_break(True, 297.0 - BOTTOM_MM)
        with self.table(
            col_widths=tuple(widths),
            width=sum(widths),
            align="LEFT",
            text_align="LEFT",
            line_height=3.7,
            padding=0.6,
            borders_layout="HORIZONTAL_LINES",
            first_row_as_headings=True,
        ) as table:
            self._font(7.5)
            for cells in (columns, *rows):
                table.row(cells)
        self.set_auto_page_break(False)
        self.set_x(left)

    def verdict_box(self, headline: str, lines: Sequence[tuple[str, float]], *, dark: bool) -> None:
        """Frame the verdict; `dark` prints its headline white on black."""
        top = self.get_y()
        self.set_xy(MARGIN_MM + 3, top + 2.5)
        if dark:
            self.set_fill_color(0)
            self.rect(MARGIN_MM, top, WIDTH_MM, 11.0, "F")
            self.set_text_color(255)
        self.words(headline, 17.0, "B", WIDTH_MM - 6)
        self.set_text_color(0)
        self.ln(2.0)
        for text, size in lines:
            self.set_x(MARGIN_MM + 3)
            self.words(text, size, "", WIDTH_MM - 6)
            self.ln(0.8)
        self.set_draw_color(0)
        self.set_line_width(0.7)
        self.rect(MARGIN_MM, top, WIDTH_MM, self.get_y() + 1.2 - top)
        self.set_line_width(0.2)
        self.set_xy(MARGIN_MM, self.get_y() + 2.5)

    def picture(self, content: bytes, width: float, height: float) -> None:
        """Put a picture at the present place; the place after it is under it."""
        left, top = self.get_x(), self.get_y()
        self.image(io.BytesIO(content), left, top, width, height, keep_aspect_ratio=True)
        self.set_xy(left, top + height)

    def photo(self, shown: PhotoShown, width: float, height: float) -> None:
        """Put a photo with its caption; a frame with words where there is none to show."""
        left, top = self.get_x(), self.get_y()
        if shown.path is not None:
            self.picture(shown.path.read_bytes(), width, height)
        else:
            self.rect(left, top, width, height)
            self.set_xy(left + 3, top + height / 2 - 3)
            self.words(MISSING, 8.0, "", width - 6)
            self.set_xy(left, top + height)
        self.words(shown.caption, 6.8, "", width)
