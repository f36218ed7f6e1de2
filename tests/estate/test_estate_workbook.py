"""Workbooks that a Python library and LibreOffice wrote are read alike; what is not a plain value is doubted."""

import os
import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest
from openpyxl import Workbook

from staddle.estate.columns import HOSTS
from staddle.estate.headingrow import find_headings
from staddle.estate.workbook import is_workbook, read_workbook
from staddle.kernel import InputRefused

OFFICE = shutil.which("soffice")


def workbook(path: Path) -> Path:
    book = Workbook()
    about = book.active
    assert about is not None
    about.title = "About"
    about.append(["nothing of interest"])
    sheet = book.create_sheet("Machines")
    sheet.append(["Hosts of Ousemoor"])
    sheet.merge_cells("A1:D1")
    sheet.append(["Host", "RAM (GiB)", "Cores", "Ratio", "Serial"])
    sheet.append(["om-h01", 384, 32.0, 4, "007"])
    sheet.append(["om-h02", "=B3/2", 16, 4, date(2026, 11, 2)])
    sheet["D3"].number_format = "0%"
    sheet["B3"].number_format = '0" GiB"'
    book.save(path)
    return path


def test_a_library_wrote_it(tmp_path: Path) -> None:
    path = workbook(tmp_path / "a.xlsx")
    assert is_workbook(path)
    export = find_headings(HOSTS, read_workbook(path), "a.xlsx")
    assert (export.sheet, export.heading_line) == ("Machines", 2)
    assert [cell.text for cell in export.rows[0].cells] == ["om-h01", "384 GiB", "32", "400 %", "007"]
    assert [cell.doubt for cell in export.rows[1].cells] == [
        "",
        "holds a formula without a saved result",
        "",
        "",
        "is a day or a time (2026-11-02 00:00:00), perhaps made so by the spreadsheet",
    ]
    assert export.place(3, "Cores") == "a.xlsx [Machines]:3:Cores"


@pytest.mark.needs_office
def test_libreoffice_wrote_it(tmp_path: Path) -> None:
    if OFFICE is None:
        assert os.environ.get("CI") != "true", "soffice is needed"
        pytest.skip("soffice is not installed (Debian: libreoffice-calc-nogui)")
    path = workbook(tmp_path / "a.xlsx")
    subprocess.run(
        [
            OFFICE,
            f"-env:UserInstallation=file://{tmp_path / 'profile'}",
            "--headless",
            "--convert-to",
            "xlsx",
            "--outdir",
            str(tmp_path / "out"),
            str(path),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    export = find_headings(HOSTS, read_workbook(tmp_path / "out" / "a.xlsx"), "a.xlsx")
    assert (export.sheet, export.heading_line) == ("Machines", 2)
    assert [cell.text for cell in export.rows[0].cells] == ["om-h01", "384 GiB", "32", "400 %", "007"]
    # The office computed the formula and saved its result beside it.
    assert (export.rows[1].cells[1].text.split()[0], export.rows[1].cells[1].doubt) == ("192", "")


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "the workbook is of the old form, or is encrypted"),
        (b"PK\x03\x04rest", "the workbook cannot be read: File is not a zip file"),
    ],
)
def test_other_workbooks_are_refused(tmp_path: Path, content: bytes, what: str) -> None:
    path = tmp_path / "a.xlsx"
    path.write_bytes(content)
    assert is_workbook(path)
    with pytest.raises(InputRefused) as caught:
        read_workbook(path)
    assert caught.value.faults[0].what == what
