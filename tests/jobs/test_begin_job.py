"""begin as a person runs it: eight questions on the terminal or as flags; the design it makes reads back and fits its schema."""

import json
from pathlib import Path

import jsonschema
import pytest
import yaml

from demo.sluicelog_package import build_package
from staddle.design.questions import QUESTIONS
from staddle.design.reader import read_design
from tests.cli.demo_job import PACKAGE, demo_job, staddle

FLAGS = {
    "--name": "levels",
    "--cluster": "Ousemoor levels",
    "--package": f"../{PACKAGE}",
    "--profile": "sluicelog",
    "--estate": "../estate",
    "--members": "3",
    "--zone": "levels.ousemoor.example",
}
NETWORKS = ("om-management 192.0.2.61", "om-telemetry 198.51.100.61")
TYPED = "\n".join((*FLAGS.values(), *NETWORKS)) + "\n"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the package in it; each test begins in a folder of its own beside it."""
    folder = tmp_path_factory.mktemp("shop")
    build_package(folder)
    return folder


def flags(*without: str) -> list[str]:
    """Every answer as a flag, but for these."""
    rows = [text for flag, value in FLAGS.items() if flag not in without for text in (flag, value)]
    networks = [] if "--network" in without else [text for row in NETWORKS for text in ("--network", row)]
    return rows + networks


def checked(folder: Path) -> dict[str, object]:
    """The design, read by us, and by general-purpose readers against the schema that lies beside it."""
    text = (folder / "design.yaml").read_text(encoding="utf-8")
    read = read_design(text, where="design.yaml")
    plain = yaml.safe_load(text)
    schema = json.loads((folder / "design.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(json.loads(json.dumps(plain, default=str)))
    assert text.splitlines()[0] == "# yaml-language-server: $schema=./design.schema.json"
    assert [member.name for member in read.design.members] == ["levels-1", "levels-2", "levels-3"]
    return dict(plain)


def test_eight_questions_make_a_job(shop: Path) -> None:
    done = staddle("begin", "asked", typed=TYPED, cwd=shop)
    assert (done.returncode, done.stdout.splitlines()[0]) == (
        0,
        f"made {shop / 'asked'} with design.yaml",
    ), done.stderr
    for question in QUESTIONS:
        # The last one is asked once for each network of the package.
        assert done.stderr.count(question.sentence) == (2 if question.key == "networks" else 1)
    assert "The package's network Management:" in done.stderr
    design = checked(shop / "asked")
    job = dict(design["job"])  # type: ignore[call-overload]
    assert {key: job[key] for key in ("name", "cluster", "estate")} == {
        "name": "levels",
        "cluster": "Ousemoor levels",
        "estate": "../estate",
    }
    assert (shop / "asked" / "private").stat().st_mode & 0o777 == 0o700
    assert "private/" in (shop / "asked" / ".gitignore").read_text(encoding="utf-8").splitlines()


def test_flags_make_the_same_design_without_a_question(shop: Path) -> None:
    asked = staddle("begin", "by-answers", typed=TYPED, cwd=shop)
    told = staddle("begin", "by-flags", *flags(), cwd=shop)
    assert (asked.returncode, told.returncode) == (0, 0)
    assert told.stderr == ""
    same = [(shop / name / "design.yaml").read_text(encoding="utf-8") for name in ("by-answers", "by-flags")]
    assert same[0] == same[1]


def test_only_what_no_flag_answers_is_asked(shop: Path) -> None:
    done = staddle("begin", "mixed", *flags("--zone"), typed="levels.ousemoor.example\n", cwd=shop)
    assert done.returncode == 0
    assert done.stderr.count("\n> ") == 1
    checked(shop / "mixed")


def test_an_empty_line_takes_the_default(shop: Path) -> None:
    done = staddle("begin", "defaults", *flags("--members", "--estate"), typed="\n\n", cwd=shop)
    assert done.returncode == 0
    assert "[3]" in done.stderr
    assert dict(checked(shop / "defaults")["job"])["estate"] == "../estate"  # type: ignore[call-overload]


def test_a_wrong_answer_is_told_and_asked_again(shop: Path) -> None:
    done = staddle("begin", "again", *flags("--members"), typed="several\n0\n3\n", cwd=shop)
    assert done.returncode == 0
    assert 'error: "several" is not a number of members from 1 to 99' in done.stderr
    assert done.stderr.count("How many members?") == 3


def test_a_path_that_is_meant_from_here_is_written_as_the_job_folder_sees_it(shop: Path) -> None:
    (shop / "tables").mkdir()
    rows = flags("--package", "--estate")
    done = staddle("begin", "from-here", *rows, typed=f"{PACKAGE}\ntables\n", cwd=shop)
    assert done.returncode == 0, done.stderr
    for path in (f"../{PACKAGE}", "../tables"):
        assert f"written as {path}, which is seen from the job folder\n" in done.stderr
    design = checked(shop / "from-here")
    assert dict(design["package"])["file"] == f"../{PACKAGE}"  # type: ignore[call-overload]
    assert dict(design["job"])["estate"] == "../tables"  # type: ignore[call-overload]


def test_a_path_that_both_see_is_the_job_folder_s(shop: Path) -> None:
    (shop / "both" / "own").mkdir(parents=True)
    (shop / "own").mkdir()
    done = staddle("begin", "both", *flags("--estate"), "--estate", "own", cwd=shop)
    assert (done.returncode, done.stderr) == (0, "")
    assert dict(checked(shop / "both")["job"])["estate"] == "own"  # type: ignore[call-overload]


def test_a_package_that_is_not_there_is_told_at_its_own_question(shop: Path) -> None:
    rows = flags("--package", "--zone")
    done = staddle("begin", "late", *rows, typed=f"none.ova\n../{PACKAGE}\nlevels.example\n", cwd=shop)
    assert done.returncode == 0, done.stderr
    told = done.stderr.index("error: the package cannot be opened: No such file or directory\n")
    assert told < done.stderr.index("Which DNS zone")


def test_a_profile_that_is_not_installed_is_told_at_its_own_question(shop: Path) -> None:
    done = staddle("begin", "profiles", *flags("--profile"), typed="slicelog\nsluicelog\n", cwd=shop)
    assert done.returncode == 0
    assert (
        'error: there is no profile "slicelog"\n'
        "  why:   installed are: sluicelog\n"
        "  try:   name one of these, or a YAML file beside design.yaml (docs/profiles.md), or none: nobody wrote it yet\n"
    ) in done.stderr


def test_a_profile_in_a_file_may_be_written_later(shop: Path) -> None:
    done = staddle("begin", "own-profile", *flags("--profile"), "--profile", "gatelog.yaml", cwd=shop)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_wrong_flag_is_refused_and_nothing_is_made(shop: Path) -> None:
    rows = flags("--name")
    done = staddle("begin", "refused", "--name", "two words", *rows, cwd=shop)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith('error: "two words" cannot be the name of a job\n')
    assert not (shop / "refused").exists()


def test_the_end_of_input_is_told_with_the_flag_and_nothing_is_made(shop: Path) -> None:
    done = staddle("begin", "ended", typed="levels\n", cwd=shop)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.endswith(
        'error: the question for "cluster" was not answered\n'
        "  why:   standard input has ended\n"
        "  try:   answer it, or give the flag --cluster\n"
    )
    assert not (shop / "ended").exists()


def test_the_end_of_input_at_a_network_names_the_flag_that_exists(shop: Path) -> None:
    done = staddle("begin", "ended-late", *flags("--network"), cwd=shop)
    assert done.returncode == 1
    assert "give the flag --network" in done.stderr
    assert "--networks" not in done.stderr


def test_a_design_is_never_overwritten(shop: Path) -> None:
    folder = shop / "kept"
    assert staddle("begin", "kept", *flags(), cwd=shop).returncode == 0
    (folder / "design.yaml").write_text("# mine now\n", encoding="utf-8")
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    again = staddle("begin", "kept", *flags(), cwd=shop)
    assert (again.returncode, again.stdout) == (1, "")
    assert again.stderr == (
        "error: there is a design already\n"
        f"  where: {folder / 'design.yaml'}\n"
        "  try:   edit it, or begin in another folder\n"
    )
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_no_question_is_asked_where_a_design_is(shop: Path) -> None:
    # Eight answers typed for nothing would be the last straw at two in the morning.
    folder = shop / "early"
    folder.mkdir()
    (folder / "design.yaml").write_text("# mine\n", encoding="utf-8")
    done = staddle("begin", "early", cwd=shop)
    assert done.stderr.startswith("error: there is a design already")


def test_json_tells_the_folder_and_nothing_else_on_stdout(shop: Path) -> None:
    done = staddle("begin", "as-json", "--json", *flags(), cwd=shop)
    told = json.loads(done.stdout)
    assert (told["command"], told["outcome"], told["data"]) == (
        "begin",
        "made",
        {"folder": str(shop / "as-json")},
    )


def test_as_many_networks_as_the_package_has(shop: Path) -> None:
    done = staddle("begin", "one-network", *flags("--network"), "--network", NETWORKS[0], cwd=shop)
    assert done.returncode == 1
    assert done.stderr == (
        "error: the package has 2 networks, 1 are answered\n"
        "  why:   its networks are Management, Telemetry\n"
        '  try:   give --network "NETWORK ADDRESS" once for each, in this order\n'
    )


def test_a_network_that_the_estate_does_not_have_is_asked_for_again(tmp_path: Path) -> None:
    demo_job(tmp_path)
    typed = [*FLAGS.values(), "om-managment 192.0.2.61", "om-management 203.0.113.9", *NETWORKS]
    done = staddle("begin", "asked", typed="\n".join(typed) + "\n", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert 'the estate has no network "om-managment"' in done.stderr
    assert 'did you mean "om-management"?' in done.stderr
    assert "203.0.113.9 is not an address of om-management" in done.stderr
    wrong = [
        text for row in ("om-management 192.0.2.61", "elsewhere 198.51.100.61") for text in ("--network", row)
    ]
    told = staddle("begin", "told", *flags("--network"), *wrong, cwd=tmp_path)
    assert (told.returncode, (tmp_path / "told").exists()) == (1, False)
    assert 'the estate has no network "elsewhere"' in told.stderr


def test_what_the_design_names_and_is_not_there_is_told_with_its_line(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    (tmp_path / "estate").rename(tmp_path / "elsewhere")
    (tmp_path / PACKAGE).rename(tmp_path / "elsewhere.ova")
    design = (job / "design.yaml").read_text(encoding="utf-8")
    (job / "design.yaml").write_text(
        design.replace("profile: sluicelog", "profile: sluicelok"), encoding="utf-8"
    )
    lines = design.splitlines()
    places = {
        key: f"design.yaml:{1 + next(n for n, line in enumerate(lines) if line.strip().startswith(key))}:"
        for key in ("estate:", "file:", "profile:")
    }
    done = staddle("review", job=job)
    assert done.returncode == 1
    assert 'there is no folder "../estate" with the estate\'s tables' in done.stderr
    assert f'there is no package "../{PACKAGE}"' in done.stderr
    assert 'there is no profile "sluicelok"' in done.stderr
    assert [place for place in places.values() if f"where: {place}" not in done.stderr] == []


def test_a_file_is_no_job_folder_and_the_folder_is_named(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    for command in (("review",), ()):
        done = staddle(*command, "--job", str(job / "design.yaml"))
        assert done.returncode == 1
        assert f"try:   --job {job}" in done.stderr
