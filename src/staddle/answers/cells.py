"""Cells of the tables that are written for spreadsheets."""

__all__ = ["inert"]


def inert(cell: str) -> str:
    """The text so that no spreadsheet program takes it for a formula: an apostrophe goes before what begins like one."""
    # A cell that begins like this is a formula to spreadsheet programs, whatever the standard says.
    return f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell
