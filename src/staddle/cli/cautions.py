"""The command cautions: what comes before the program's advice, in full."""

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.kernel.cautions import CAUTIONS

__all__ = ["cautions"]


def cautions(*, options: Options = Options()) -> int:  # noqa: B008  frozen
    """Tell what comes before the program's advice, and what that advice cannot know.

    It is the same for every job.

    Example: staddle cautions
    """
    screen = Screen("cautions", as_json=options.json)
    for caution in CAUTIONS:
        screen.show(caution)
    screen.document("told", {"cautions": CAUTIONS})
    return 0
