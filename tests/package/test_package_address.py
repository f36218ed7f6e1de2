"""The product's address with answers put in (DSP0243, product section, from memory: AppUrl may hold ``${name}``).

What a text with names put in must be is compared with string.Template of the standard library.
"""

import string
from pathlib import Path

import pytest

from staddle.kernel import Severity
from staddle.package import Package, application_address, read_package
from tests.package.descriptor_pieces import configurations, envelope, folder, product

ADDRESS = "https://${host}.${zone}:${port}/log?as=${host}"
PROPERTIES = (
    '<Property ovf:key="host" ovf:type="string" ovf:userConfigurable="true" ovf:value="gauge"/>',
    '<Property ovf:key="zone" ovf:type="string" ovf:value="ousemoor.example"/>',
    '<Property ovf:key="port" ovf:type="uint16" ovf:userConfigurable="true" ovf:value="8443">'
    '<Value ovf:value="9443" ovf:configuration="estuary"/></Property>',
    '<Property ovf:key="word" ovf:type="string" ovf:userConfigurable="true" ovf:password="true" ovf:value="tide"/>',
    '<Property ovf:key="empty" ovf:type="string" ovf:userConfigurable="true"/>',
)


def read(tmp_path: Path, address: str, *properties: str, attributes: str = "", more: str = "") -> Package:
    section = product(
        "<Product>Sluicelog</Product>",
        f"<AppUrl>{address}</AppUrl>",
        *(properties or PROPERTIES),
        attributes=attributes,
    )
    sizes = configurations("brook", "estuary")
    return read_package(folder(tmp_path, envelope(section, more, sections=sizes, edition="2")))


@pytest.mark.parametrize(("size", "port"), [("brook", "8443"), ("estuary", "9443")])
def test_defaults_of_the_size_stand_where_no_answer_is_known(tmp_path: Path, size: str, port: str) -> None:
    package = read(tmp_path, ADDRESS)
    values = {"host": "gauge", "zone": "ousemoor.example", "port": port}
    expected = string.Template(ADDRESS).substitute(values)
    assert (
        application_address(package, size)
        == expected
        == f"https://gauge.ousemoor.example:{port}/log?as=gauge"
    )
    assert package.application_url == ADDRESS
    assert not [finding for finding in package.findings if "application-url" in finding.rule]


def test_an_answer_stands_before_the_default_and_is_not_read_again(tmp_path: Path) -> None:
    package = read(tmp_path, ADDRESS)
    values = {"host": "${zone}", "zone": "ousemoor.example", "port": "8443"}
    assert application_address(package, "brook", {"host": "${zone}"}) == string.Template(ADDRESS).substitute(
        values
    )


@pytest.mark.parametrize("name", ["nothing", "empty"])
def test_a_name_of_which_nothing_is_known_stays_as_it_is_written(tmp_path: Path, name: str) -> None:
    address = f"https://${{{name}}}/${{host}}"
    package = read(tmp_path, address)
    assert application_address(package, "brook") == string.Template(address).safe_substitute(host="gauge")
    assert application_address(package, "brook", {"host": None, "empty": None}) == address


def test_a_name_that_no_property_has_is_a_finding(tmp_path: Path) -> None:
    (found,) = [
        finding
        for finding in read(tmp_path, "https://${nothing}/").findings
        if finding.rule == "application-url-unknown"
    ]
    assert found.severity is Severity.NOTE
    assert found.what == (
        "the product's address https://${nothing}/ holds ${nothing}, and there is no such property, or several"
    )


def test_a_secret_is_put_into_no_address_and_told_as_a_risk(tmp_path: Path) -> None:
    package = read(tmp_path, "https://log.example/?${word}")
    assert application_address(package, "brook", {"word": "tidemark"}) == "https://log.example/?${word}"
    (found,) = [finding for finding in package.findings if finding.rule == "application-url-secret"]
    assert found.severity is Severity.RISK


def test_of_two_properties_of_one_name_that_of_the_address_own_section_is_meant(tmp_path: Path) -> None:
    host = '<Property ovf:key="host" ovf:type="string" ovf:value="{}"/>'
    more = product(host.format("other"), attributes='ovf:class="other"')
    package = read(
        tmp_path, "https://${host}/${other.host}", host.format("own"), attributes='ovf:class="own"', more=more
    )
    assert application_address(package, "brook") == "https://own/other"


def test_an_address_without_end_is_told_as_it_stands(tmp_path: Path) -> None:
    address = "https://log.example/" + "${host}" * 100_000
    package = read(tmp_path, address)
    assert application_address(package, "brook") == address
    assert [finding.rule for finding in package.findings if "application" in finding.rule] == [
        "application-url-long"
    ]
