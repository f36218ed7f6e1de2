"""What a run was made on, in a few lines."""

import os
import platform
import subprocess
from pathlib import Path

__all__ = ["machine"]


def machine() -> tuple[tuple[str, str], ...]:
    """Processor, cores, memory, system, Python, and how busy the machine was when the run began."""
    load = os.getloadavg()[0]
    return (
        ("processor", _field("/proc/cpuinfo", "model name") or platform.machine()),
        ("cores", str(os.cpu_count())),
        ("memory", _field("/proc/meminfo", "MemTotal") or "not known"),
        ("system", f"{platform.system()} {platform.release()}"),
        ("Python", platform.python_version()),
        ("openssl", _said("openssl", "version")),
        (
            "load at the start",
            f"{load:.1f} processes" + (": others were at work, see below" if load > 1 else ""),
        ),
    )


def _field(path: str, name: str) -> str:
    try:
        lines = Path(path).read_text(encoding="utf-8").splitlines()
    except OSError:
        return ""
    return next((line.partition(":")[2].strip() for line in lines if line.startswith(name)), "")


def _said(*command: str) -> str:
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        return "not there"
