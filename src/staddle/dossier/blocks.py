"""What a section of the dossier is made of: paragraphs, facts, tables, lists, drawings, lines to sign on.

Text only, ready to be read; the same blocks become PDF (pdf.py) and HTML (html.py). ``attention`` is the one colour.
"""

from dataclasses import dataclass

from staddle.kernel import OurFault

__all__ = ["Block", "Column", "Drawing", "Facts", "Items", "Paragraph", "Row", "Section", "Signing", "Table"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """One paragraph. ``size``: "lead", "plain" or "small"."""

    text: str
    size: str = "plain"
    attention: bool = False
    kind: str = "paragraph"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Rows of (label, value). ``fixed`` rows are lettered in the face of fixed width: digests, names, addresses."""

    rows: tuple[tuple[str, str], ...]
    title: str = ""
    fixed: bool = False
    kind: str = "facts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Items:
    """A list of sentences."""

    items: tuple[str, ...]
    title: str = ""
    small: bool = False
    kind: str = "items"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its head, its share of the width, and whether its cells are lettered in fixed width."""

    head: str
    share: float = 1
    fixed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row. ``below`` are (what, value) lines under it that take the whole width."""

    cells: tuple[str, ...]
    attention: bool = False
    below: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table whose head is repeated on every page. ``empty`` is said instead of a table without rows."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    empty: str
    title: str = ""
    kind: str = "table"

    def __post_init__(self) -> None:
        if any(len(row.cells) != len(self.columns) for row in self.rows):
            raise OurFault.one(f'a row of the table "{self.title}" has not one cell a column')


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A drawing as SVG. ``alt`` says the same in words; ``share`` is its part of the width, ``most_mm`` its height."""

    svg: str
    alt: str
    share: float = 1
    most_mm: float = 130
    kind: str = "drawing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signing:
    """Lines to sign on, one a role: (role, name)."""

    rows: tuple[tuple[str, str], ...]
    kind: str = "signing"


Block = Paragraph | Facts | Items | Table | Drawing | Signing


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One section; in the PDF it begins a new sheet, and its title stands in the title block."""

    title: str
    blocks: tuple[Block, ...]
    landscape: bool = False
