"""The environment document against DSP8027 and its own round trip."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from staddle.kernel import InputRefused
from staddle.package import Environment, PlatformFacts, environment_document, read_environment
from tests.package.published_schemas import schema

# XML 1.0 §2.2: every character that a document can hold
XML_CHARACTERS = st.characters(
    exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"
) | st.sampled_from("\t\n\r\x7f\x85")
TEXTS = st.text(XML_CHARACTERS, max_size=30)
VALUES = st.dictionaries(TEXTS.filter(bool), TEXTS, max_size=4)
FACTS = st.builds(
    PlatformFacts,
    kind=TEXTS,
    version=TEXTS,
    vendor=TEXTS,
    locale=TEXTS,
    timezone_minutes=st.none() | st.integers(-720, 840),
)


@settings(max_examples=150)
@given(TEXTS, FACTS, VALUES, st.dictionaries(TEXTS, VALUES, max_size=3))
def test_everything_that_xml_can_carry_survives_the_round_trip(
    entity_id: str,
    platform: PlatformFacts,
    properties: dict[str, str],
    siblings: dict[str, dict[str, str]],
) -> None:
    document = environment_document(
        entity_id=entity_id, platform=platform, properties=properties, siblings=siblings
    )
    assert read_environment(document) == Environment(
        entity_id=entity_id,
        platform=platform,
        properties=tuple(properties.items()),
        siblings=tuple((name, tuple(values.items())) for name, values in siblings.items()),
    )


def example() -> bytes:
    return environment_document(
        entity_id="gauge1",
        platform=PlatformFacts(
            kind="Stand-in", version="1", vendor="Ousemoor", locale="en-GB", timezone_minutes=60
        ),
        properties={"sluicelog.host_name": "gauge1.ops.example", "sluicelog.log_host": ""},
        siblings={"gauge2": {"sluicelog.host_name": "gauge2.ops.example"}},
    )


@pytest.mark.needs_reference
def test_the_document_is_valid_by_the_published_schema() -> None:
    schema("dsp8027_1.0.0b.xsd").assertValid(etree.fromstring(example()))


@pytest.mark.needs_reference
def test_the_schema_refuses_what_it_should() -> None:
    # so that the test above cannot pass by an empty schema
    broken = example().replace(b"ovfenv:key", b"key")
    assert not schema("dsp8027_1.0.0b.xsd").validate(etree.fromstring(broken))


def test_attributes_are_qualified_and_the_time_zone_is_in_minutes_east() -> None:
    text = example().decode()
    assert '<ovfenv:Property ovfenv:key="sluicelog.host_name" ovfenv:value="gauge1.ops.example"/>' in text
    assert "<ovfenv:Timezone>60</ovfenv:Timezone>" in text
    assert 'xmlns:ovfenv="http://schemas.dmtf.org/ovf/environment/1"' in text


def test_the_values_do_not_stand_in_the_printed_form() -> None:
    assert "gauge1.ops" not in repr(read_environment(example()))


def test_what_xml_cannot_carry_is_refused_without_showing_it() -> None:
    with pytest.raises(InputRefused) as caught:
        environment_document(
            entity_id="a\x00b",
            platform=PlatformFacts(kind="k\x01"),
            properties={"pw": "hunter2\x02", "ok": "fine"},
            siblings={"s": {"x": "\ud800"}},
        )
    tail = (
        " cannot be written into the environment document\n"
        "  why:   it holds a character that XML cannot carry (XML 1.0 §2.2)\n"
        "  try:   use letters, digits and signs; no control characters"
    )
    assert str(caught.value).split("\n\n") == [
        f"error: {what}{tail}"
        for what in ("the entity's id", "the platform's Kind", 'the value of "pw"', 'the value of "x"')
    ]


NS = 'xmlns="http://schemas.dmtf.org/ovf/environment/1" xmlns:e="http://schemas.dmtf.org/ovf/environment/1"'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("<Environment/>", 'the root element is "Environment", not an OVF Environment'),
        (f"<Envelope {NS}/>", "not an OVF Environment"),
        (f"<!DOCTYPE a><Environment {NS}/>", "document type definition"),
        (
            f"<Environment {NS}><PropertySection><Property key='a'/></PropertySection></Environment>",
            "has no key",
        ),
        (
            f"<Environment {NS}><PlatformSection><Timezone>east</Timezone></PlatformSection></Environment>",
            "not a number",
        ),
        ("hello", "not well-formed XML"),
    ],
)
def test_what_is_no_environment_document_is_refused(text: str, message: str) -> None:
    with pytest.raises(InputRefused, match=message):
        read_environment(text.encode())


def test_unknown_sections_are_passed_over() -> None:
    text = f"<Environment {NS} e:id='x'><More><Info/></More><PropertySection><Property e:key='a' e:value='b'/></PropertySection></Environment>"
    assert read_environment(text.encode()) == Environment(entity_id="x", properties=(("a", "b"),))
