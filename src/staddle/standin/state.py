"""The member's durable state: one JSON file, replaced whole, on the disk before anything is acknowledged."""

import fcntl
import json
import os
from pathlib import Path
from typing import Any

from staddle.standin.refusal import Refusal, StartRefused

__all__ = ["State"]


class State:
    """A folder that one process at a time may use.

    Raises: StartRefused: the folder is in use, not writable, or its file is not whole.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file = folder / "state.json"
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._lock = os.open(folder / "lock", os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as exc:
            raise StartRefused(f"the state in {folder} is in use by another process") from exc
        except OSError as exc:
            raise StartRefused(f"the state in {folder} cannot be used: {exc.strerror}") from exc

    def load(self) -> dict[str, Any]:
        """What was kept last, {} at first start."""
        try:
            kept = json.loads(self._file.read_bytes())
        except FileNotFoundError:
            return {}
        except (OSError, ValueError) as exc:
            raise StartRefused(f"the state in {self._file} cannot be read: {exc}") from exc
        if not isinstance(kept, dict):
            raise StartRefused(f"the state in {self._file} is not whole")
        return kept

    def keep(self, values: dict[str, Any]) -> None:
        """Return only once the values are on the disk.

        Raises: Refusal 507 ``storage``: nothing was changed (disk full, for example).
        """
        new = self._file.with_suffix(".new")
        try:
            descriptor = os.open(new, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600)
            with open(descriptor, "wb") as handle:
                handle.write(json.dumps(values).encode())
                handle.flush()
                os.fsync(handle.fileno())
        except OSError as exc:
            raise Refusal(507, "storage", f"the state cannot be written: {exc.strerror}") from exc
        os.replace(new, self._file)
        folder = os.open(self.folder, os.O_RDONLY)
        try:
            os.fsync(folder)  # the rename itself must survive a power cut
        except OSError:
            # Old or new content after a power cut: memory and disk may differ, so this member must not go on.
            os._exit(3)
        finally:
            os.close(folder)
