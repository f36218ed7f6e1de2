"""A line that a person types. Not here: what is asked (screen.py, begin.py), cards that are open for long (cards.py)."""

import os
import select
import signal
import sys
import threading

__all__ = ["is_terminal", "read_line"]


def is_terminal() -> bool:
    """Whether somebody sits at standard input."""
    return sys.stdin.isatty()


def read_line() -> str:
    """The next line of standard input with its end, "" where there is no more. Ctrl-C is answered at any moment.

    The problem: Python looks for signals between two steps of its own. One that comes after the last of them and before
    the system waits for the line leaves a mark that nobody looks at until Enter is pressed. On a terminal, therefore, the
    signal also writes into a pipe, and both are waited for.
    """
    if not sys.stdin.isatty() or threading.current_thread() is not threading.main_thread():
        return sys.stdin.readline()
    near, far = os.pipe()
    os.set_blocking(far, False)
    before = signal.set_wakeup_fd(far, warn_on_full_buffer=False)
    try:
        while True:
            ready, _, _ = select.select([sys.stdin, near], [], [])
            if near in ready:
                os.read(near, 64)  # a handler that has something to say has raised by the next step
            elif ready:
                return sys.stdin.readline()
    finally:
        signal.set_wakeup_fd(before)
        os.close(near)
        os.close(far)
