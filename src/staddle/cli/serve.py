"""The command serve: the pages of a job, for a browser on this machine."""

import getpass
import sys
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.draft import is_begun
from staddle.jobs.folder import JobFolder
from staddle.kernel import SystemClock, SystemRandom
from staddle.web.serving import get_once
from staddle.web.serving import serve as serve_pages

__all__ = ["serve"]


def serve(
    *,
    port: int = 0,
    get: Annotated[str, Parameter(negative=())] = "",
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Serve the job's pages to a browser on this machine, until Ctrl-C.

    Only on 127.0.0.1, and only to whoever has the address with its start token. In a folder without a design the pages
    begin with the sheet Begin, which makes one.

    Example: staddle serve --port 8020

    Parameters
    ----------
    port
        Where to listen; 0 picks a port that is free.
    get
        Print what a GET of this path is answered with, and serve nothing; ends with 1 if it is refused.
    """
    screen = Screen("serve", as_json=options.json)
    folder, clock, random = _folder(options), SystemClock(), SystemRandom()
    if get:
        reply = get_once(folder, get, clock=clock, random=random, actor=getpass.getuser())
        text = reply.body.decode("utf-8", errors="replace")
        refused = reply.status >= 400
        if not options.json:
            screen.write(text)
        told = {"status": reply.status, "media_type": reply.media_type, "body": text}
        screen.document("refused" if refused else "got", told)
        return 1 if refused else 0

    def began(address: str) -> None:
        screen.show(address)
        screen.document("serving", {"address": address})
        sys.stdout.flush()
        screen.say("open this address in a browser of this machine; it lets in whoever has it")
        if not is_begun(folder):
            screen.say("there is no design.yaml here yet: the sheet Begin makes one")
        screen.say("Ctrl-C ends it; what is at work then goes on from the journal")

    serve_pages(folder, port=port, clock=clock, random=random, actor=getpass.getuser(), began=began)
    return 0


def _folder(options: Options) -> JobFolder:
    """The job folder, or one in which a job may be begun. Raises: InputRefused: it is no folder."""
    root = options.job.resolve()
    if root.is_dir() and not is_begun(JobFolder(root=root)):
        return JobFolder(root=root)  # nothing is made in it before something is sent
    return options.folder()
