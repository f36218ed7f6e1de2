"""What holds for all tests: where nothing may be skipped a skip fails the run, and no test is timed by hypothesis."""

import os
import signal

import pytest
from hypothesis import settings

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell ignores Ctrl-C for what it starts in the background, and every process below inherits that: tests of Ctrl-C
    # would wait for an answer that never comes.
    signal.signal(signal.SIGINT, signal.default_int_handler)

# A slow machine is no fault of the code: speed is measured elsewhere, never in a test.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """With CI=true a skipped test is a check that nobody made: the run is not called good."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") == "true" and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
