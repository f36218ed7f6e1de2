"""The folders are the map: every import of the program points to a lower rank or stays in its room."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src" / "staddle"

RANKS = (
    ("kernel",),
    ("package", "estate", "design", "trust", "failures"),
    ("addressing", "placement", "survival"),
    ("answers", "plan"),
    ("review", "rollout", "proof"),
    ("platforms", "appliances", "stores", "probes", "dossier"),
    ("jobs",),
    ("cli", "web"),
)
RANK = {room: rank for rank, rooms in enumerate(RANKS) for room in rooms}

ABOVE_ALL = {"__main__.py": len(RANKS)}
"""Only starts the command line."""

INSIDE_A_FUNCTION = {
    # kinds/ is scanned on first use, so that a new file is enough; kinds themselves import this module.
    "plan/kind.py": {"staddle.plan.kinds"},
    # SQLAlchemy takes longer to load than a job to read, and most estates have no register yet.
    "stores/bookings.py": {"staddle.stores.bookings_sqlite"},
    # A rule brings all that rules look at; here one is needed only where a survey is past its limit.
    "jobs/surveyage.py": {"staddle.review.rules.survey"},
    # Telling what a package holds needs no job; with one, the command would take three times as long to start.
    "cli/package.py": {"staddle.jobs.bundle", "staddle.jobs.carried"},
}
"""Our own modules that are imported inside a function, each with its reason. Nothing else may be."""

BESIDE = {
    # The command that starts the pages: the one place at which rooms of one rank know each other.
    "cli/serve.py": {"staddle.web.serving"},
}
"""Imports of a room of the same rank, each with its reason. Nothing else may be."""

FROM_BELOW_JOBS = {
    "staddle.answers.requests": {"RequestsSheet"},
    "staddle.answers.sheets": {"Sheet"},
    "staddle.design.questions": {
        "QUESTIONS",
        "BeginAnswers",
        "NetworkAnswer",
        "Question",
        "machine_question",
        "parse_network_answer",
        "parse_window_answer",
    },
    "staddle.design.schema": {"schema_text"},
    "staddle.dossier.availability_drawing": {"availability_sentence", "availability_svg"},
    "staddle.dossier.ink": {"hatchings_only"},  # pure, as all that draws
    "staddle.dossier.placement_drawing": {"placement_sentence", "placement_svg"},
    "staddle.dossier.plan_links": {"PlanLinks"},  # pure: addresses for a drawing
    "staddle.dossier.sight_drawing": {"exchange_sentence", "sight_sentence", "sight_svg"},
    "staddle.dossier.survive_drawing": {"failures_svg"},
    "staddle.estate.difference": {"Change"},
    "staddle.estate.openpoints": {"OpenPoint"},
    "staddle.estate.sources": {"OPEN", "ColumnSource"},
    "staddle.estate.survey": {"SurveyStanding"},
    "staddle.package": {
        "Allocation",
        "Form",
        "Hardware",
        "Package",
        "Property",
        "QuantityRange",
        "SizeFigures",
        "Verification",
    },
    "staddle.placement.model": {
        "BestShown",
        "GoodWithBound",
        "NoneExists",
        "NotFoundInTime",
        "PassedOver",
        "Placement",
        "Seat",
    },
    "staddle.placement.keeping": {"Keeping", "apart_in_words", "lines_of"},
    "staddle.placement.why": {"Costs", "Excluded", "NotKnown", "Same", "Why"},
    "staddle.plan.kind": {"BackOut", "get_kind"},  # facts of a kind of step; looks up, touches nothing
    "staddle.plan.looks": {"Card", "Signature"},
    "staddle.plan.orders": {"Plan", "Step"},
    "staddle.plan.titles": {"step_title"},  # pure: a step in words
    "staddle.proof.junit": {"junit_text"},  # pure: a proof as text
    "staddle.proof.model": {"Proof"},
    "staddle.proof.observe": {"planned_probes"},  # pure: tells what would be looked at
    "staddle.review.junit": {"review_junit"},  # pure: a review as text
    "staddle.review.review": {"Review", "refuses"},  # pure: compares severities
    "staddle.review.sarif": {"sarif_text"},  # pure: a review as text
    "staddle.rollout.gate": {"Plea"},
    "staddle.rollout.journal": {"Entry", "Recorded"},
    "staddle.rollout.run": {"Run"},
    "staddle.rollout.states": {"Event", "State"},
    "staddle.survival.failuretable": {"Asked", "Doubles", "FailureTable"},
    "staddle.survival.judge": {"ALL", "SOME", "Judgement"},
    "staddle.survival.serving": {"State"},
    "staddle.survival.times": {"Span"},
    "staddle.survival.availability": {"Share"},
    "staddle.survival.rates": {"rate_text"},  # pure: a range as text
    "staddle.survival.wording": {  # pure: availability in words
        "ASSUMPTIONS",
        "about_text",
        "beside",
        "brings_nothing",
        "minutes_text",
        "notes",
        "origin_text",
        "worth_telling",
    },
    "staddle.trust.secrets": {"Secret"},
}
"""What command line and pages take from ranks 1 to 5: values and pure functions. Whatever does something is jobs/'s to call."""

MODULES = sorted(SOURCE.rglob("*.py"))


def own_imports(tree: ast.AST) -> Iterator[tuple[ast.Import | ast.ImportFrom, str]]:
    """Every import of a module of ours, with the module's full name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node, alias.name) for alias in node.names if alias.name.split(".")[0] == "staddle")
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "staddle":
            for alias in node.names:
                deeper = (SOURCE.parent / (node.module or "").replace(".", "/") / alias.name).with_suffix("")
                is_module = deeper.is_dir() or deeper.with_suffix(".py").is_file()
                yield node, f"{node.module}.{alias.name}" if is_module else str(node.module)


def faults_of(path: Path, text: str) -> list[str]:
    """Everything by which one module breaks the rules; () for most."""
    name = path.relative_to(SOURCE)
    room = name.parts[0] if len(name.parts) > 1 else ""
    tree = ast.parse(text)
    faults = [
        f"line {n.lineno}: a relative import"
        for n in ast.walk(tree)
        if isinstance(n, ast.ImportFrom) and n.level
    ]
    top = {id(node) for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)} - {
        id(inner)
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        for inner in ast.walk(function)
    }
    for node, module in own_imports(tree):
        target = module.split(".")[1] if "." in module else ""
        at = f"line {node.lineno}: {module}"
        if id(node) not in top and module not in INSIDE_A_FUNCTION.get(name.as_posix(), set()):
            faults.append(f"{at} is imported inside a function")
        if room == "standin":
            faults += [f"{at}: the stand-in imports nothing of ours"] * (target != "standin")
        elif target and target not in RANK:
            faults.append(f"{at} is of no known room")
        elif module in BESIDE.get(name.as_posix(), set()):
            continue
        elif target and target != room and RANK[target] >= RANK.get(room, ABOVE_ALL.get(name.as_posix(), 0)):
            faults.append(f"{at} is not below {room}")
        if (
            room in ("cli", "web")
            and target
            and 1 <= RANK.get(target, 99) <= 5
            and isinstance(node, ast.ImportFrom)
        ):
            more = {alias.name for alias in node.names} - FROM_BELOW_JOBS.get(module, set())
            faults += [f"{at}: {', '.join(sorted(more))} is for jobs/ to call"] * bool(more)
    return faults


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(SOURCE).as_posix())
def test_imports_point_to_a_lower_rank(path: Path) -> None:
    assert faults_of(path, path.read_text(encoding="utf-8")) == []


def test_every_room_has_a_rank_and_every_rank_has_its_room() -> None:
    rooms = {path.parent.name for path in SOURCE.glob("*/__init__.py")}
    assert rooms == {*RANK, "standin"}


def test_modules_are_loaded_by_name_in_four_places_only() -> None:
    # A name in a text would pass the test above; only the scans of kinds/, rules/ and sheets/ load modules that way, and the
    # package's room its own when one of their names is first asked for.
    loaders = [
        path.relative_to(SOURCE).as_posix()
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if (isinstance(node, ast.Attribute) and node.attr in ("import_module", "__import__"))
        or (isinstance(node, ast.Name) and node.id in ("import_module", "__import__"))
    ]
    assert loaders == ["package/__init__.py", "plan/kind.py", "review/catalogue.py", "web/catalogue.py"]


@pytest.mark.parametrize(
    ("where", "text", "fault"),
    [
        ("kernel/x.py", "from staddle.trust.secrets import Secret", "is not below kernel"),
        ("estate/x.py", "import staddle.package.model", "is not below estate"),
        ("estate/x.py", "from staddle import package", "is not below estate"),
        ("plan/x.py", "from ..kernel import Fault", "a relative import"),
        ("jobs/x.py", "def f():\n    from staddle.kernel import Fault", "imported inside a function"),
        ("plan/other.py", "def f():\n    from staddle.plan import kinds", "imported inside a function"),
        ("jobs/x.py", "from staddle.helpers import go", "of no known room"),
        ("standin/x.py", "from staddle.kernel import Fault", "imports nothing of ours"),
        ("cli/x.py", "from staddle.estate.tables import survey_estate", "is for jobs/ to call"),
        ("web/x.py", "from staddle.estate.tables import survey_estate", "is for jobs/ to call"),
        ("web/x.py", "from staddle.cli.screen import Screen", "is not below web"),
        ("cli/x.py", "from staddle.web.serving import serve", "is not below cli"),
    ],
)
def test_the_check_sees_what_it_is_for(where: str, text: str, fault: str) -> None:
    faults = faults_of(SOURCE / where, text)
    assert any(fault in told for told in faults), faults
