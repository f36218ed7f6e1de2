"""What is shown is shown as it is: a fingerprint holds ":CD:", which a terminal library may take for a picture."""

from io import StringIO

import pytest
from rich.console import Console

from staddle.cli.screen import Screen

FINGERPRINT = "EB:C6:CD:F3:OK:ID:[bold]:87:[/bold]"


@pytest.mark.parametrize("show", ["say", "show", "table", "line of a table"])
def test_text_reaches_the_reader_unchanged(show: str, capsys: pytest.CaptureFixture[str]) -> None:
    screen = Screen("prove", as_json=False)
    if show == "say":
        screen.say(FINGERPRINT)
    elif show == "show":
        screen.show(FINGERPRINT)
    elif show == "table":
        screen.table("", (FINGERPRINT,), [("x",)])
    else:
        screen.table("", ("a", "b"), [(FINGERPRINT, ":CD:")])
    told = capsys.readouterr()
    assert FINGERPRINT in told.out + told.err
    if show == "line of a table":
        assert ":CD:" in told.out


def test_a_column_to_copy_from_stays_whole_on_eighty_columns(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    key, long = "sluicelog.management_address", "a name of many words " * 8
    Screen("package", as_json=False).table(
        "", ("question", "key", "allowed"), [(long, key, long)], whole="key"
    )
    lines = capsys.readouterr().out.splitlines()
    assert any(key in line for line in lines)
    assert max(map(len, lines)) <= 80


def test_the_library_would_have_changed_it() -> None:
    sink = StringIO()
    Console(file=sink).print("07:CD:F3")
    assert "CD" not in sink.getvalue()
