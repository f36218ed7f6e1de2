"""Open points of a map at a real terminal: asked one after the other, a wrong answer is told and asked again."""

from pathlib import Path

from staddle.estate.mapfile import read_maps
from tests.cli.demo_job import PROGRAM
from tests.cli.terminal import Terminal

EXPORT = "Server;Site;Cores;RAM (GB);Segments;Volumes;Kept\nh1;r1;32;384;;;8\nh2;r2;16;256;;;9\n"


def test_open_points_are_asked_one_after_the_other(tmp_path: Path) -> None:
    (tmp_path / "servers.csv").write_text(EXPORT, encoding="utf-8")
    folder = tmp_path / "ousemoor"
    command = [PROGRAM, "estate", str(folder), "--take", str(tmp_path / "servers.csv"), "--as", "hosts"]
    with Terminal(command, out=tmp_path / "out") as terminal:
        first = terminal.wait_for(r"\[GiB\] > ")
        assert first is not None
        assert "their cells: 384, 256" in first
        assert "common practice, no source" in first
        terminal.type("")
        assert terminal.wait_for(r"reserved_memory.*\n(.*\n)*\[10 %\] > ")
        terminal.type("Keept")
        assert "did you mean" in (terminal.wait_for(r"\[10 %\] > ") or "")
        terminal.type("Kept")
        assert terminal.wait_for(r"unit.*reserved_memory(.*\n)*\[GiB\] > ")  # its cells leave the unit open
        terminal.type("")
        assert terminal.wait_for(r"vcpu_per_core(.*\n)*\[4\] > ")
        terminal.type("?")
        assert terminal.exit_code() == 0
        assert "open: hosts.vcpu_per_core" in terminal.said
    kept = {source.column: source for source in read_maps(folder)["hosts"].sources}
    assert kept["memory"].unit == "GiB"
    assert (kept["reserved_memory"].headings, kept["reserved_memory"].unit) == (("Kept",), "GiB")
    assert kept["vcpu_per_core"].value == "?"
