"""Which answer wins, why, and what is asked back instead of guessed."""

from ipaddress import ip_network

import pytest

from staddle.answers.model import AnswerRow
from staddle.answers.resolve import known_values, resolve_answers
from staddle.design.model import Answer, AnswerRule, Design
from staddle.design.profile import Profile
from staddle.kernel import InputRefused
from staddle.package import Property
from tests.answers.questions import addresses_of, answer, design_of, package_of, profile_of, question


def rows_of(
    *questions: Property,
    design: Design | None = None,
    profile: Profile | None = None,
    member: str = "levels-1",
) -> tuple[AnswerRow, ...]:
    chosen = design or design_of()
    answers = resolve_answers(
        design=chosen,
        package=package_of(*questions),
        profile=profile or profile_of(),
        addresses=addresses_of(chosen),
        size_id="river",
    )
    return answers.get_member(member).rows


def refused(*questions: Property, design: Design | None = None, profile: Profile | None = None) -> str:
    with pytest.raises(InputRefused) as caught:
        rows_of(*questions, design=design, profile=profile)
    return str(caught.value)


LEVEL = question(defaults=(("", "info"),))
KEY = "sluicelog.log_level"


@pytest.mark.parametrize(
    ("job", "own", "rule", "expected", "reason"),
    [
        ("a", "b", "c", "b", "design.yaml: members[0].answers[0]"),
        ("a", "", "c", "a", "design.yaml: package.answers[0]"),
        ("", "", "c", "c", "profile sluicelog: c"),
        ("", "", "", "info", "the package's default for size river"),
    ],
)
def test_the_member_wins_over_the_job_over_the_profile_over_the_package(
    job: str, own: str, rule: str, expected: str, reason: str
) -> None:
    def given(text: str) -> tuple[Answer, ...]:
        return (answer(KEY, text),) if text else ()

    design = design_of(answers=given(job), of_first=given(own))
    profile = profile_of(sluicelog__log_level=rule) if rule else profile_of()
    (row,) = rows_of(LEVEL, design=design, profile=profile)
    assert (row.value, row.reason, row.is_open) == (expected, reason, False)


def test_an_answer_of_one_member_is_not_the_others() -> None:
    design = design_of(of_first=(answer(KEY, "debug"),))
    assert rows_of(LEVEL, design=design, member="levels-1")[0].value == "debug"
    assert rows_of(LEVEL, design=design, member="levels-2")[0].value == "info"


def test_what_nothing_answers_is_open_and_says_why() -> None:
    (row,) = rows_of(question(min_length=1))
    assert (row.value, row.is_open, row.reason) == (None, True, "nothing in design or profile answers it")


def test_a_rule_whose_value_the_design_does_not_give_leaves_the_question_open() -> None:
    (row,) = rows_of(question(min_length=1), profile=profile_of(sluicelog__log_level="x ${time_servers}"))
    assert row.is_open
    assert row.reason == (
        "the profile answers it with x ${time_servers}, for which the design says nothing in clock.servers"
    )


def test_a_question_that_may_stay_empty_stays_empty() -> None:
    (row,) = rows_of(question())
    assert (row.value, row.reason) == ("", "left empty, as the package allows")


def test_a_default_of_another_size_does_not_count() -> None:
    (row,) = rows_of(question(defaults=(("brook", "small"),), min_length=1))
    assert row.is_open


def test_a_question_of_another_size_is_not_asked() -> None:
    assert rows_of(question(sizes=("brook",))) == ()


def test_what_the_maker_has_fixed_is_not_asked() -> None:
    assert rows_of(question(user_configurable=False, defaults=(("", "x"),))) == ()


def test_a_secret_is_named_and_never_valued() -> None:
    first, other = rows_of(
        question("sluicelog.admin_password", password=True),
        question("sluicelog.mail_password", password=True),
    )
    assert (first.value, first.secret) == (None, "administrator/first")
    assert (other.value, other.secret) == (None, "property/sluicelog.mail_password")


def test_a_secret_in_the_design_is_refused_without_being_shown() -> None:
    design = design_of(answers=(answer("sluicelog.admin_password", "Hunter-2-and-more"),))
    text = refused(question("sluicelog.admin_password", password=True), design=design)
    assert text == (
        'error: "sluicelog.admin_password" is a secret and is answered in the design\n'
        "  where: package.answers[0]\n"
        "  why:   the design is plain text for version control\n"
        "  try:   remove it here and change that secret; the tool draws one and keeps it in the strongbox"
    )


def test_an_unknown_question_is_refused_with_the_likely_one() -> None:
    text = refused(LEVEL, design=design_of(answers=(answer("sluicelog.log_levle", "info"),)))
    assert text == (
        'error: the package asks no question "sluicelog.log_levle"\n'
        "  where: package.answers[0]\n"
        '  try:   did you mean "sluicelog.log_level"?'
    )


def test_a_rule_with_an_unknown_value_is_refused_with_the_likely_one() -> None:
    text = refused(LEVEL, profile=profile_of(sluicelog__log_level="${fqnd}"))
    assert text.startswith('error: the profile names "${fqnd}", which no design gives\n')
    assert text.endswith('  try:   did you mean "${fqdn}"?')


def test_all_faults_come_at_once() -> None:
    design = design_of(answers=(answer("a.b", "x"), answer("sluicelog.n", "many"), answer(KEY, "loud")))
    text = refused(question("sluicelog.n", type="uint8"), question(allowed=("info", "debug")), design=design)
    assert text.count("error:") == 3


def test_the_values_of_a_member_are_those_of_its_addresses() -> None:
    design = design_of(servers=("192.0.2.4", "192.0.2.5"))
    values = known_values(design, design.members[1], addresses_of(design))
    assert values["fqdn"] == "levels-2.ousemoor.example"
    assert values["address.Management"] == "192.0.2.62"
    # The standard library's ipaddress is the outside witness for mask and length.
    network = ip_network("192.0.2.0/25")
    assert values["netmask.Management"] == str(network.netmask)
    assert values["prefix.Management"] == str(network.prefixlen)
    assert values["name_servers"] == "192.0.2.2,192.0.2.3"
    assert values["time_servers"] == "192.0.2.4,192.0.2.5"
    assert values["leader"] == "levels-1.ousemoor.example"
    assert values["deputy"] == "levels-2.ousemoor.example"


def test_an_answer_to_what_the_maker_has_fixed_is_refused() -> None:
    fixed = question(user_configurable=False, defaults=(("", "x"),))
    assert refused(fixed, design=design_of(answers=(answer(KEY, "x"),))) == (
        f'error: "{KEY}" is fixed by the maker and is answered in the design\n'
        "  where: package.answers[0]\n"
        "  why:   the package does not mark the property as configurable by the user\n"
        "  try:   remove the answer"
    )


def test_an_answer_that_no_member_is_asked_for_is_refused() -> None:
    of_brook = question(sizes=("brook",))
    assert refused(of_brook, design=design_of(of_first=(answer(KEY, "info"),))) == (
        f'error: "{KEY}" is not asked in river and is answered in the design\n'
        "  where: members[0].answers[0]\n"
        "  why:   the package asks it in brook\n"
        "  try:   remove the answer, or take another size"
    )
    assert "where: package.answers[0]" in refused(of_brook, design=design_of(answers=(answer(KEY, "info"),)))


def test_an_answer_of_the_job_holds_for_the_members_that_are_asked() -> None:
    design = design_of(answers=(answer(KEY, "info"),))
    small = design.members[1].model_copy(update={"size": "brook", "data": False})
    mixed = design.model_copy(update={"members": (design.members[0], small, *design.members[2:])})
    of_brook = question(sizes=("brook",))
    assert rows_of(of_brook, design=mixed, member=design.members[0].name) == ()
    (row,) = rows_of(of_brook, design=mixed, member=small.name)
    assert row.value == "info"


def test_a_refused_value_is_told_with_its_place_and_its_question() -> None:
    text = refused(question(allowed=("info",)), design=design_of(answers=(answer(KEY, "loud"),)))
    assert "  where: package.answers[0] (sluicelog.log_level)\n" in text


@pytest.mark.parametrize(("retention", "days"), [("400 d", "400"), ("36 h", "2"), ("24 h", "1"), (None, "")])
def test_days_of_retention_are_rounded_up(retention: str | None, days: str) -> None:
    design = design_of()
    design = design.model_copy(update={"load": design.load.model_copy(update={"retention": retention})})
    assert known_values(design, design.members[0], addresses_of(design))["retention_days"] == days


def test_a_rule_of_the_design_stands_between_explicit_answers_and_the_profile() -> None:
    rules = (AnswerRule(property=KEY, rule="at ${name}"),)
    profile = profile_of(sluicelog__log_level="c")
    for member in ("levels-1", "levels-2"):
        (row,) = rows_of(LEVEL, design=design_of(rules=rules), profile=profile, member=member)
        assert (row.value, row.reason) == (f"at {member}", "design.yaml: package.rules[0]: at ${name}")
    (row,) = rows_of(LEVEL, design=design_of(rules=rules, answers=(answer(KEY, "a"),)), profile=profile)
    assert row.value == "a"


def test_an_empty_rule_of_the_design_is_an_answer() -> None:
    design = design_of(rules=(AnswerRule(property=KEY, rule=""),))
    (row,) = rows_of(LEVEL, design=design)
    assert (row.value, row.is_open) == ("", False)


def test_a_rule_of_the_design_is_held_against_package_and_design() -> None:
    rules = (AnswerRule(property=KEY, rule="${nmae}"), AnswerRule(property="sluicelog.log_levle", rule="x"))
    told = refused(LEVEL, design=design_of(rules=rules))
    assert 'the design\'s rule names "${nmae}", which no design gives' in told
    assert 'the package asks no question "sluicelog.log_levle"' in told
    secret = question("sluicelog.admin_password", password=True)
    told = refused(secret, design=design_of(rules=(AnswerRule(property=secret.key, rule="x"),)))
    assert "is a secret and is answered in the design" in told
