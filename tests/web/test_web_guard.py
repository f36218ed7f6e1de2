"""Who gets in, from where, and what no answer goes without. A real server on loopback, spoken to in plain HTTP/1.1."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from staddle.web.catalogue import all_sheets
from staddle.web.guard import MOST_BODY_BYTES
from tests.cli.demo_job import TODAY, demo_job, staddle
from tests.web.served import Answer, Server, served

pytestmark = pytest.mark.xdist_group("web-guard")

PLACES = [
    "/",
    "/standing",
    "/standing.json",
    "/run/live",
    "/dossier/dossier.pdf",
    "/paper/sheet.css",
    "/nowhere",
]
WAIVER = {
    "rule": "digest-not-pinned",
    "by": "J. Harrow",
    "reason": "a trial",
    "until": str(TODAY),
    "where": "",
}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_job(tmp_path_factory.mktemp("guard"))


@pytest.fixture(scope="module")
def server(job: Path) -> Iterator[Server]:
    with served(job) as running:
        yield running


def is_told_in_parts(answer: Answer, *words: str) -> bool:
    """Whether the refusal says what, where, why and how to mend it, and nothing of the job."""
    return (
        all(word in answer.body for word in ("where", "why", "try", *words)) and "levels" not in answer.body
    )


@pytest.mark.parametrize("path", PLACES)
def test_nothing_is_answered_without_the_cookie(server: Server, path: str) -> None:
    for cookie in ({}, {"Cookie": f"staddle-{server.port}={'0' * 48}"}, {"Cookie": "x\x7f=\xff"}):
        answer = server.ask("GET", path, {"Host": server.host, **cookie})
        assert answer.status == 403
        assert is_told_in_parts(answer, "this browser was not let in") or path.endswith(".json")


def test_every_sheet_is_behind_the_cookie_and_there_with_it(server: Server) -> None:
    for sheet in all_sheets():
        assert server.ask("GET", f"/{sheet.name}", {"Host": server.host}).status == 403
        assert server.get(f"/{sheet.name}").status == 200, sheet.name


def test_the_start_token_gives_a_cookie_for_this_server_alone(server: Server) -> None:
    answer = server.ask("GET", f"/findings?severity=risk&token={server.token}", {"Host": server.host})
    assert (answer.status, answer.headers["location"]) == (303, "/findings?severity=risk")
    name, *attributes = [part.strip() for part in answer.headers["set-cookie"].split(";")]
    assert name.startswith(f"staddle-{server.port}=")
    assert sorted(attributes) == ["HttpOnly", "Path=/", "SameSite=Strict"]
    assert server.token not in name


@pytest.mark.parametrize("token", ["", "0", "é"])
def test_another_token_is_refused_even_with_the_cookie(server: Server, token: str) -> None:
    answer = server.get(f"/standing?token={token.encode().hex() if token == 'é' else token}")
    assert answer.status == 403
    assert is_told_in_parts(answer, "this is not the start token")


def test_the_token_does_not_open_a_write(server: Server) -> None:
    headers = {"Host": server.host, "Origin": server.base}
    assert server.ask("POST", f"/findings/waive?token={server.token}", headers, b"").status == 403


@pytest.mark.parametrize("path", ["//evil.example/", "/\\evil.example", "///evil.example/x"])
def test_the_first_answer_leads_nowhere_else(server: Server, path: str) -> None:
    # RFC 3986 §4.2: a reference that begins with two strokes names another host.
    answer = server.ask("GET", f"{path}?token={server.token}", {"Host": server.host})
    assert answer.status == 303
    assert answer.headers["location"].startswith("/evil.example")


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:{port}",
        "127.0.0.1",
        "127.0.0.1:1",
        "127.0.0.1.evil.example:{port}",
        "127.0.0.2:{port}",
        "[::1]:{port}",
        "",
    ],
)
def test_another_host_is_refused_for_reading_and_writing(server: Server, host: str) -> None:
    named = host.format(port=server.port)
    headers = {"Host": named, "Cookie": server.cookie, "Origin": f"http://{named}"}
    for method, path in (
        ("GET", "/standing"),
        ("POST", "/findings/waive"),
        ("GET", f"/?token={server.token}"),
    ):
        answer = server.ask(method, path, headers, b"" if method == "POST" else None)
        assert answer.status == 421, (method, path)  # RFC 9110 §15.5.20
        assert is_told_in_parts(answer)
        assert "set-cookie" not in answer.headers


def test_two_hosts_are_none(server: Server) -> None:
    with socket.create_connection(("127.0.0.1", server.port), timeout=40) as wire:
        lines = [
            "GET /standing HTTP/1.1",
            f"Host: {server.host}",
            "Host: evil.example",
            f"Cookie: {server.cookie}",
        ]
        wire.sendall(("\r\n".join([*lines, "Connection: close", "", ""])).encode())
        assert wire.recv(64).split()[1] in (b"400", b"421")  # h11 refuses it before we do


def test_localhost_is_the_same_machine(server: Server) -> None:
    answer = server.ask("GET", "/standing", {"Host": f"LOCALHOST:{server.port}", "Cookie": server.cookie})
    assert answer.status == 200


@pytest.mark.parametrize(
    "origin",
    [
        "null",
        "https://127.0.0.1:{port}",
        "http://127.0.0.1:1",
        "http://127.0.0.1",
        "http://evil.example",
        "http://localhost:{port}",
        None,
    ],
)
def test_another_pages_write_changes_nothing(server: Server, job: Path, origin: str | None) -> None:
    before = (job / "waivers.yaml").read_bytes()
    headers = {
        "Host": server.host,
        "Cookie": server.cookie,
        "Content-Type": "application/x-www-form-urlencoded",
    }
    if origin is not None:
        headers["Origin"] = origin.format(port=server.port)
    answer = server.ask("POST", "/findings/waive", headers, b"rule=digest-not-pinned")
    assert answer.status == 403
    assert is_told_in_parts(answer, "this was sent by another page")
    assert (job / "waivers.yaml").read_bytes() == before


def test_a_browser_that_names_no_origin_says_that_the_site_is_the_same(server: Server) -> None:
    headers = {
        "Host": server.host,
        "Cookie": server.cookie,
        "Content-Type": "application/x-www-form-urlencoded",
    }
    for site, status in (("same-origin", 422), ("same-site", 403), ("cross-site", 403), ("none", 403)):
        answer = server.ask("POST", "/findings/waive", {**headers, "Sec-Fetch-Site": site}, b"rule=")
        assert answer.status == status, site


def test_our_own_write_is_let_through_and_ends_at_an_address(server: Server, job: Path) -> None:
    before = (job / "waivers.yaml").read_text(encoding="utf-8")
    answer = server.post("/findings/waive", WAIVER)
    assert (answer.status, answer.headers["location"]) == (303, "/findings?waived=yes")
    after = (job / "waivers.yaml").read_text(encoding="utf-8")
    assert after.startswith(before.rstrip("\n"))
    (job / "waivers.yaml").write_text(before, encoding="utf-8")


@pytest.mark.parametrize("path", ["/standing", "/nowhere", "/paper/sheet.css", "/standing.json", "/?token=0"])
def test_no_answer_goes_without_its_headers(server: Server, path: str) -> None:
    for headers in (
        {"Host": server.host, "Cookie": server.cookie},
        {"Host": server.host},
        {"Host": "evil.example"},
    ):
        answer = server.ask("GET", path, headers)
        policy = dict(
            part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert "unsafe" not in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert "server" not in answer.headers


def test_a_form_that_is_too_long_is_refused(server: Server) -> None:
    headers = {"Host": server.host, "Cookie": server.cookie, "Origin": server.base}
    length = {"Content-Length": str(MOST_BODY_BYTES + 1)}
    answer = server.ask("POST", "/findings/waive", headers | length)
    assert answer.status == 413
    assert is_told_in_parts(answer)


def test_what_is_not_there_and_what_is_not_done_that_way(server: Server) -> None:
    assert server.get("/nowhere").status == server.get("/standing/nothing").status == 404
    assert server.post("/findings/nothing", {}).status == 404
    answer = server.ask(
        "PUT", "/standing", {"Host": server.host, "Cookie": server.cookie, "Origin": server.base}, b""
    )
    assert answer.status == 405
    assert "PUT is not for /standing" in answer.body


def test_it_listens_on_one_address_of_loopback_only(server: Server) -> None:
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.2", server.port), timeout=40).close()


def test_two_servers_have_two_keys(server: Server, job: Path) -> None:
    with served(job) as other:
        assert other.token != server.token
        theirs = other.cookie.partition("=")[2]
        forged = {"Host": server.host, "Cookie": f"staddle-{server.port}={theirs}"}
        assert server.ask("GET", "/standing", forged).status == 403


def test_a_port_that_is_taken_is_told(server: Server, job: Path) -> None:
    done = staddle("serve", "--port", str(server.port), job=job)
    assert done.returncode == 1
    assert done.stderr.splitlines() == [
        f"error: port {server.port} cannot be listened on: Address already in use",
        "  where: 127.0.0.1",
        "  try:   give another one with --port, or 0 for any that is free",
    ]


NOT_ON_LOOPBACK = {("requests", "look")}  # it asks the name servers of the design


@pytest.mark.parametrize(
    ("sheet", "act"),
    [
        (sheet.name, act)
        for sheet in all_sheets()
        for act in sheet.acts
        if (sheet.name, act) not in NOT_ON_LOOPBACK
    ],
)
def test_a_form_that_lacks_fields_is_told_what_is_missing(server: Server, sheet: str, act: str) -> None:
    for form in ({}, {"of": "rollout"}, {"of": "no such thing"}):
        answer = server.post(f"/{sheet}/{act}", form)
        assert answer.status in (303, 409, 422), (answer.status, answer.body[-2000:])
        if answer.status != 303:
            assert 'role="alert"' in answer.body
