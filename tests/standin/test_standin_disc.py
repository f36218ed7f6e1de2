"""The stand-in reads its answers from a CD: from the program's images, and from those of an independent writer.

Sources: ISO 9660 and Joliet through genisoimage (Debian), which shares no code with either side; DSP0243, ISO transport, for the name.
"""

import io
import os
import shutil
import subprocess
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from staddle.package import write_environment_image
from staddle.standin.answers import read_answers
from staddle.standin.disc import is_disc, read_from_disc
from staddle.standin.refusal import StartRefused
from tests.standin.cluster import environment_document, first_answers

DOCUMENT = environment_document(first_answers(1)).encode()
AT = datetime(2026, 3, 4, tzinfo=UTC)


def image_of(document: bytes, **files: bytes) -> bytes:
    out = io.BytesIO()
    contents = {name: (io.BytesIO(data), len(data)) for name, data in files.items()}
    write_environment_image(out, document, made_at=AT, files=contents)
    return out.getvalue()


IMAGE = image_of(DOCUMENT)


def test_the_answers_are_the_same_from_the_document_and_from_the_disc(tmp_path: Path) -> None:
    plain, disc = tmp_path / "ovf-env.xml", tmp_path / "answers.iso"
    plain.write_bytes(DOCUMENT)
    disc.write_bytes(image_of(DOCUMENT, key=b"k" * 5000))
    assert (is_disc(plain), is_disc(disc)) == (False, True)
    assert read_answers(disc) == read_answers(plain)


def test_a_disc_of_another_writer_is_read_too(tmp_path: Path) -> None:
    if shutil.which("genisoimage") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("genisoimage is not installed, and nothing may be skipped here")
        pytest.skip("genisoimage is not installed")
    root = tmp_path / "root"
    (root / "ovffiles").mkdir(parents=True)
    (root / "ovf-env.xml").write_bytes(DOCUMENT)
    for number in range(60):  # more than one sector of directory records
        (root / f"a file before it, number {number}").write_bytes(b"x")
    disc = tmp_path / "answers.iso"
    command = ["genisoimage", "-quiet", "-J", "-joliet-long", "-R", "-o", str(disc), str(root)]
    subprocess.run(command, check=True, stderr=subprocess.DEVNULL)
    assert read_from_disc(disc, "ovf-env.xml", most_bytes=1 << 20) == DOCUMENT


@pytest.mark.parametrize(
    ("image", "told"),
    [
        (IMAGE[:40000], "the CD is shorter than it says"),
        (image_of(DOCUMENT + b" " * (1 << 20)), "the CD's ovf-env.xml is larger than 1048576 bytes"),
        (
            IMAGE.replace("ovf-env.xml".encode("utf-16-be"), "ovf-env.txt".encode("utf-16-be")),
            "holds no ovf-env.xml",
        ),
        (IMAGE.replace(b"%/E", b"   "), "the CD has no Joliet names"),
    ],
)
def test_what_is_wrong_with_a_disc_is_told(tmp_path: Path, image: bytes, told: str) -> None:
    disc = tmp_path / "answers.iso"
    disc.write_bytes(image)
    with pytest.raises(StartRefused, match=told):
        read_answers(disc)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.lists(st.tuples(st.integers(16 * 2048, len(IMAGE) - 1), st.integers(0, 255)), max_size=12),
    length=st.integers(16 * 2048 + 6, len(IMAGE)),
)
def test_a_damaged_disc_is_read_or_refused_and_nothing_else(
    tmp_path: Path, changes: list[tuple[int, int]], length: int
) -> None:
    damaged = bytearray(IMAGE)
    for at, value in changes:
        damaged[at] = value
    disc = tmp_path / "answers.iso"
    disc.write_bytes(damaged[:length])
    with suppress(StartRefused):
        assert len(read_from_disc(disc, "ovf-env.xml", most_bytes=1 << 20)) <= 1 << 20
