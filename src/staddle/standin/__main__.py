"""``python -m staddle.standin``, or ``python FOLDER`` where only this folder was copied."""

import sys
from pathlib import Path
from types import ModuleType

if not __package__:
    # A plain copied folder has no parent package: give the absolute names of our imports a home.
    for name in ("staddle", "staddle.standin"):
        sys.modules[name] = ModuleType(name)
        sys.modules[name].__path__ = [str(Path(__file__).parent)] if name == "staddle.standin" else []

from staddle.standin.command import main

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
