"""Ctrl-C at a question is answered at whatever moment it comes."""

import signal
import sys

from tests.cli.terminal import Terminal

_TIMES = 300

_ASKER = f"""
from staddle.cli.screen import confirm
for number in range({_TIMES}):
    try:
        confirm(f"question {{number}}?", yes=False)
    except KeyboardInterrupt:
        continue
    raise SystemExit("answered by nobody")
"""


def test_ctrl_c_is_not_lost_between_the_question_and_the_wait_for_its_answer() -> None:
    # Sent the very moment the question can be read. With a plain blocking read one was lost on a busy machine.
    with Terminal([sys.executable, "-c", _ASKER], out=None) as desk:
        for number in range(_TIMES):
            assert desk.wait_for(rf"question {number}\? \[y/N\] ") is not None, desk.said
            desk.process.send_signal(signal.SIGINT)
        assert desk.exit_code() == 0


def test_a_line_is_read_whole_after_a_signal() -> None:
    asker = "import signal; from staddle.cli.typed import read_line; signal.signal(signal.SIGUSR1, lambda *_: print('seen'))\n"
    with Terminal([sys.executable, "-c", asker + "print('now'); print(repr(read_line()))"], out=None) as desk:
        assert desk.wait_for("now") is not None
        desk.process.send_signal(signal.SIGUSR1)
        assert desk.wait_for("seen") is not None
        desk.type("yes")
        assert desk.wait_for(r"'yes\\n'") is not None
