"""The strongbox on a real disk: rights, locks, damage, killed writers, several writers."""

import os
import random
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pyrage
import pytest

from staddle.kernel import InputRefused, NotAllowed, OutsideFailed
from staddle.trust.secrets import Secret
from staddle.trust.strongbox import (
    KeyFileLock,
    NoSuchSecret,
    PassphraseLock,
    Strongbox,
    StrongboxDamaged,
    WrongKey,
    WrongPassphrase,
)

PASSPHRASE = PassphraseLock(passphrase=Secret("three weirs and a tollgate"))
PLAIN = "Ousemoor-weir.4796-plain"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "private" / "strongbox.age"


@pytest.fixture
def box(path: Path) -> Strongbox:
    return Strongbox.create(path, KeyFileLock())


@pytest.fixture(scope="module")
def wrapped(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The files of a strongbox under a passphrase; made once, since scrypt is slow by design."""
    path = tmp_path_factory.mktemp("wrapped") / "private" / "strongbox.age"
    Strongbox.create(path, PASSPHRASE).put("administrator", Secret(PLAIN))
    return {file.name: file.read_bytes() for file in path.parent.iterdir()}


def lay(path: Path, files: dict[str, bytes]) -> None:
    path.parent.mkdir(mode=0o700)
    for name, content in files.items():
        (path.parent / name).write_bytes(content)
        (path.parent / name).chmod(0o600)


def test_what_is_put_is_got_back_by_another_opening(box: Strongbox, path: Path) -> None:
    box.put("administrator", Secret(PLAIN))
    box.put("join/brook-2", Secret("ümläut\n🔑"))
    again = Strongbox.open(path, KeyFileLock())
    assert again.get("administrator") == Secret(PLAIN)
    assert again.get("join/brook-2").unsafe_reveal() == "ümläut\n🔑"
    assert again.names() == ("administrator", "join/brook-2")
    assert again.find("none") is None
    with pytest.raises(NoSuchSecret, match='holds no secret "none"'):
        again.get("none")


def test_a_put_replaces_and_a_drop_forgets_and_both_may_be_repeated(box: Strongbox) -> None:
    for text in ("first", "second", "second"):
        box.put("administrator", Secret(text))
    assert box.get("administrator") == Secret("second")
    box.drop("administrator")
    box.drop("administrator")
    assert box.names() == ()


def test_a_passphrase_opens_and_a_wrong_one_does_not(path: Path, wrapped: dict[str, bytes]) -> None:
    lay(path, wrapped)
    assert Strongbox.find_lock(path) is PassphraseLock
    assert Strongbox.open(path, PASSPHRASE).get("administrator") == Secret(PLAIN)
    with pytest.raises(WrongPassphrase) as refused:
        Strongbox.open(path, PassphraseLock(passphrase=Secret("three weirs and a tollgat")))
    assert str(refused.value) == (
        "error: the passphrase does not open the strongbox\n"
        f"  where: {path.with_suffix('.key.age')}\n"
        "  why:   it is not the one that the strongbox was made with, or the file's first lines were changed\n"
        "  try:   enter it again; mind the keyboard's layout and capitals"
    )


def test_the_file_is_an_age_file_that_age_itself_opens(box: Strongbox, path: Path) -> None:
    # age-encryption.org/v1: whoever holds the key can read the strongbox without this program
    box.put("administrator", Secret(PLAIN))
    identity = pyrage.x25519.Identity.from_str(path.with_suffix(".key").read_text())
    assert PLAIN.encode() in pyrage.decrypt(path.read_bytes(), [identity])


def test_the_plaintext_never_lies_in_the_folder(path: Path, wrapped: dict[str, bytes]) -> None:
    # Every state of the folder's files that a put makes is recorded by a child that copies them at each call that
    # changes the disk.
    Strongbox.create(path, KeyFileLock())
    child = run_child(path, _RECORD, PLAIN)
    assert child.returncode == 0, child.stderr
    states = [bytes.fromhex(line) for line in child.stdout.split()]
    assert len(states) >= 4
    key = path.with_suffix(".key").read_bytes()
    for state in (*states, *wrapped.values()):
        assert PLAIN.encode() not in state
        assert b"administrator" not in state
    assert not any(key in state for state in wrapped.values())
    assert not any(b"AGE-SECRET-KEY" in content for content in wrapped.values())


def test_files_and_folder_are_for_the_owner_alone(box: Strongbox, path: Path) -> None:
    before = os.umask(0)
    try:
        box.put("administrator", Secret(PLAIN))
    finally:
        os.umask(before)
    assert path.parent.stat().st_mode & 0o777 == 0o700
    assert {file.name: file.stat().st_mode & 0o777 for file in path.parent.iterdir()} == {
        "strongbox.age": 0o600,
        "strongbox.age.lock": 0o600,
        "strongbox.key": 0o600,
    }


@pytest.mark.parametrize(
    ("name", "mode", "wanted"),
    [("", 0o750, "700"), ("strongbox.age", 0o640, "600"), ("strongbox.key", 0o604, "600")],
)
def test_wider_rights_are_refused_with_the_mend(
    box: Strongbox, path: Path, name: str, mode: int, wanted: str
) -> None:
    wide = path.parent / name
    wide.chmod(mode)
    with pytest.raises(OutsideFailed) as refused:
        Strongbox.open(path, KeyFileLock())
    assert str(refused.value) == (
        f"error: others may use {wide.name}: its mode is {mode:04o}, 0{wanted} is needed\n"
        f"  where: {wide}\n"
        "  why:   what protects it is the file system\n"
        f"  try:   run: chmod {wanted} '{wide}'"
    )
    wide.chmod(int(wanted, 8))
    Strongbox.open(path, KeyFileLock())


def test_rights_that_widen_later_stop_a_put(box: Strongbox, path: Path) -> None:
    path.parent.chmod(0o755)
    with pytest.raises(OutsideFailed, match="run: chmod 700"):
        box.put("administrator", Secret(PLAIN))


def test_a_link_in_its_place_is_not_followed(box: Strongbox, path: Path, tmp_path: Path) -> None:
    path.rename(tmp_path / "elsewhere")
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutsideFailed, match=r"strongbox\.age cannot be used"):
        box.names()


def test_create_does_not_overwrite(box: Strongbox, path: Path) -> None:
    box.put("administrator", Secret(PLAIN))
    with pytest.raises(NotAllowed, match="there is a strongbox already"):
        Strongbox.create(path, KeyFileLock())
    assert box.get("administrator") == Secret(PLAIN)


def test_open_tells_what_is_missing(path: Path) -> None:
    with pytest.raises(OutsideFailed, match="private cannot be used: No such file or directory"):
        Strongbox.open(path, KeyFileLock())
    path.parent.mkdir(mode=0o700)
    with pytest.raises(InputRefused, match="there is no strongbox"):
        Strongbox.open(path, KeyFileLock())
    Strongbox.create(path, KeyFileLock())
    with pytest.raises(InputRefused, match="locked with a key file, not a passphrase"):
        Strongbox.open(path, PASSPHRASE)
    path.with_suffix(".key").unlink()
    with pytest.raises(StrongboxDamaged, match="has lost its key"):
        Strongbox.open(path, KeyFileLock())


def test_another_strongbox_s_key_is_told_from_damage(box: Strongbox, path: Path) -> None:
    path.with_suffix(".key").write_text(str(pyrage.x25519.Identity.generate()))
    with pytest.raises(WrongKey, match="this key does not open the strongbox"):
        Strongbox.open(path, KeyFileLock())
    path.with_suffix(".key").write_text("AGE-SECRET-KEY-1NOSUCH")
    with pytest.raises(StrongboxDamaged, match="does not hold an X25519 key"):
        Strongbox.open(path, KeyFileLock())


def test_every_damage_is_refused(box: Strongbox, path: Path) -> None:
    box.put("administrator", Secret(PLAIN))
    whole = path.read_bytes()
    body = whole.index(b"\n--- ") + 5
    for place in range(body, len(whole)):  # the head's own check and all of the body
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        with pytest.raises(StrongboxDamaged, match="the strongbox is damaged"):
            box.find("administrator")
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        with pytest.raises((StrongboxDamaged, WrongKey)):
            box.find("administrator")
    path.write_bytes(whole)
    assert box.get("administrator") == Secret(PLAIN)


def test_damage_to_a_wrapped_key_is_told_from_a_wrong_passphrase(
    path: Path, wrapped: dict[str, bytes]
) -> None:
    lay(path, wrapped)
    key = path.with_suffix(".key.age")
    for changed in (wrapped[key.name][:-1] + b"?", b"", b"nonsense"):
        key.write_bytes(changed)
        with pytest.raises(StrongboxDamaged, match="the strongbox is damaged"):
            Strongbox.open(path, PASSPHRASE)


def test_content_of_another_program_or_a_newer_form_is_refused(box: Strongbox, path: Path) -> None:
    recipient = pyrage.x25519.Identity.from_str(path.with_suffix(".key").read_text()).to_public()
    path.write_bytes(pyrage.encrypt(b'["' + PLAIN.encode() + b'"]', [recipient]))
    with pytest.raises(StrongboxDamaged, match="was not written by staddle") as damaged:
        box.names()
    assert PLAIN not in str(damaged.value)
    path.write_bytes(pyrage.encrypt(b'{"version": 2, "secrets": {}}', [recipient]))
    with pytest.raises(InputRefused, match="has form 2, this staddle reads form 1"):
        box.names()


@pytest.mark.parametrize("name", ["", "a\nb", "x" * 201])
def test_a_name_must_be_printable_and_short(box: Strongbox, name: str) -> None:
    with pytest.raises(InputRefused, match="cannot name a secret"):
        box.put(name, Secret(PLAIN))


def test_a_file_is_not_a_secret(box: Strongbox) -> None:
    with pytest.raises(InputRefused, match="meant for passwords and keys"):
        box.put("disk", Secret("x" * (9 << 20)))
    assert box.names() == ()


def test_a_full_disk_leaves_everything_as_it_was(box: Strongbox, path: Path) -> None:
    box.put("administrator", Secret(PLAIN))
    # A file size limit makes write(2) fail as a full disk does, without root.
    child = run_child(path, _TOO_LARGE)
    assert child.returncode == 0, child.stderr
    assert child.stdout.startswith("error: strongbox.age cannot be used: File too large")
    assert box.names() == ("administrator",)
    assert sorted(file.name for file in path.parent.iterdir()) == [
        "strongbox.age",
        "strongbox.age.lock",
        "strongbox.key",
    ]


def test_a_lock_held_too_long_is_told(box: Strongbox, path: Path) -> None:
    holder = start_child(path, _HOLD)
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(NotAllowed, match=r"another process has been writing here for 0\.05 s"):
            Strongbox.open(path, KeyFileLock(), lock_timeout_s=0.05).put("a", Secret("b"))
    finally:
        holder.kill()
        holder.communicate()
    box.put("a", Secret("b"))  # the lock ended with its holder


def test_two_processes_and_two_threads_lose_nothing(box: Strongbox, path: Path) -> None:
    children = [start_child(path, _PUT_MANY, str(number), "60") for number in range(2)]

    def put_some(number: int) -> None:
        for i in range(30):
            box.put(f"t{number}-{i}", Secret("x"))

    threads = [threading.Thread(target=put_some, args=(number,)) for number in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for child in children:
        _, errors = child.communicate(timeout=60)
        assert child.returncode == 0, errors
    expected = {f"{n}-{i}" for n in range(2) for i in range(60)} | {
        f"t{n}-{i}" for n in range(2) for i in range(30)
    }
    assert set(box.names()) == expected


def test_content_reaches_the_disk_before_its_name_and_its_name_before_the_return(
    box: Strongbox, path: Path
) -> None:
    # fsync(2), rename(2): a power cut cannot be made here, so the order of the calls is what is checked
    child = run_child(path, _ORDER)
    assert child.stdout.split("\n")[:-1] == ["fsync file", "replace", "fsync folder", "returned"], (
        child.stderr
    )


def test_a_writer_killed_at_any_call_to_the_disk_leaves_old_or_new(path: Path) -> None:
    box = Strongbox.create(path, KeyFileLock())
    box.put("kept", Secret(PLAIN))
    outcomes = []
    for call in range(1, 40):
        box.put("changed", Secret("old"))
        child = run_child(path, _KILL_AT, str(call))
        assert box.get("kept") == Secret(PLAIN)
        outcomes.append(box.get("changed").unsafe_reveal())
        if child.returncode == 0:
            break
        assert child.returncode == -signal.SIGKILL, child.stderr
    else:
        pytest.fail("the writer was never left alive")
    assert outcomes == sorted(outcomes, reverse=True)  # first old, from the renaming on new
    assert {"old", "new"} == set(outcomes)
    box.put("kept", Secret(PLAIN))
    assert sorted(file.name for file in path.parent.iterdir()) == [
        "strongbox.age",
        "strongbox.age.lock",
        "strongbox.key",
    ]


def test_a_creation_killed_at_any_call_can_be_repeated(tmp_path: Path) -> None:
    for call in range(1, 60):
        path = tmp_path / str(call) / "strongbox.age"
        child = run_child(path, _KILL_CREATE_AT, str(call))
        if child.returncode == 0:
            return
        assert child.returncode == -signal.SIGKILL, child.stderr
        if not path.exists():
            Strongbox.create(path, KeyFileLock())
        Strongbox.open(path, KeyFileLock()).put("administrator", Secret(PLAIN))
    pytest.fail("the creator was never left alive")


def test_what_a_writer_reported_survives_its_kill_at_a_random_moment(box: Strongbox, path: Path) -> None:
    seed = random.randrange(1 << 32)
    chance = random.Random(seed)
    for round_ in range(8):
        child = start_child(path, _PUT_MANY, f"r{round_}", "100000")
        assert child.stdout is not None
        reported = [child.stdout.readline().strip() for _ in range(chance.randrange(1, 25))]
        for _ in range(chance.randrange(20_000)):
            pass  # a moment within the next put
        child.kill()
        rest, _ = child.communicate()
        reported += rest.split("\n")[:-1]  # a line without its end was not reported
        names = set(box.names())
        assert set(reported) <= names, f"seed {seed}"
        # At most the one put that was under way came through unreported.
        assert len({name for name in names if name.startswith(f"r{round_}-")} - set(reported)) <= 1
        for name in reported:
            assert box.get(name) == Secret(f"secret of {name}")
        for name in sorted(names):
            box.drop(name)


def start_child(path: Path, code: str, *arguments: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-c", code, str(path), *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def run_child(path: Path, code: str, *arguments: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", code, str(path), *arguments], capture_output=True, text=True, timeout=60
    )


_OPEN = """
import os, signal, sys
from pathlib import Path
from staddle.kernel import StaddleError
from staddle.trust.secrets import Secret
from staddle.trust.strongbox import KeyFileLock, Strongbox
path = Path(sys.argv[1])
"""

_PUT_MANY = (
    _OPEN
    + """
box = Strongbox.open(path, KeyFileLock(), lock_timeout_s=60)
for number in range(int(sys.argv[3])):
    name = f"{sys.argv[2]}-{number}"
    box.put(name, Secret("secret of " + name))
    print(name, flush=True)
"""
)

_HOLD = (
    _OPEN
    + """
import fcntl
held = os.open(f"{path}.lock", os.O_RDWR)
fcntl.flock(held, fcntl.LOCK_EX)
print("held", flush=True)
signal.pause()
"""
)

_TOO_LARGE = (
    _OPEN
    + """
import resource
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
try:
    Strongbox.open(path, KeyFileLock()).put("more", Secret("x" * 200))
except StaddleError as exc:
    print(exc)
"""
)

# Every call that changes the disk is counted, before and after it; at the n-th count the process gets a real SIGKILL.
_COUNT = """
calls = 0
def count(*_):
    global calls
    calls += 1
    if calls == int(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
def counted(real):
    def call(*arguments, **options):
        count()
        result = real(*arguments, **options)
        count()
        return result
    return call
def counting():
    for name in ("open", "fsync", "replace", "unlink", "mkdir"):
        setattr(os, name, counted(getattr(os, name)))
"""

_ORDER = (
    _OPEN
    + """
import stat
box = Strongbox.open(path, KeyFileLock())
real_fsync, real_replace = os.fsync, os.replace
def fsync(handle):
    print("fsync", "folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
    real_fsync(handle)
def replace(*names):
    print("replace")
    real_replace(*names)
os.fsync, os.replace = fsync, replace
box.put("administrator", Secret("x"))
print("returned")
"""
)

_KILL_AT = (
    _OPEN
    + _COUNT
    + """
box = Strongbox.open(path, KeyFileLock())
counting()
box.put("changed", Secret("new"))
"""
)

_KILL_CREATE_AT = (
    _OPEN
    + _COUNT
    + """
counting()
Strongbox.create(path, KeyFileLock())
"""
)

_RECORD = (
    _OPEN
    + """
box = Strongbox.open(path, KeyFileLock())
def recorded(real):
    def call(*arguments, **options):
        result = real(*arguments, **options)
        for file in path.parent.iterdir():
            if file.name != "strongbox.key":
                print(file.read_bytes().hex())
        return result
    return call
for name in ("fsync", "replace"):
    setattr(os, name, recorded(getattr(os, name)))
box.put("administrator", Secret(sys.argv[2]))
box.put("administrator", Secret(sys.argv[2] * 2))
box.drop("administrator")
"""
)
