"""Who may do what: sign-in, roles, other sites, other names, text that would like to be markup."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from station.app.accounts import Accounts, Role
from station.app.workplace import Workplace
from station.pages.access import IDLE_S, TRIES, Access
from station.pages.application import make_application
from tests.pages.station_in_browser import settled, wait_for, workplace_on

HOME = "http://localhost"
SECRET = "a long enough secret"


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """A station without a bench: access needs none."""
    with workplace_on(tmp_path, bench=False) as found:
        yield found


def client_of(workplace: Workplace, *, local: bool = True) -> TestClient:
    """A browser without script, on the bench's own machine or elsewhere."""
    application = make_application(workplace, local=local, hosts=("localhost",) if local else ())
    return TestClient(application, base_url=HOME, headers={"origin": HOME}, follow_redirects=False)


def test_every_answer_carries_the_security_headers(workplace: Workplace) -> None:
    """No inline script, no frame, no sniffing; also on refusals."""
    client = client_of(workplace)
    answers = [
        client.get("/start"),
        client.get("/nowhere"),
        client.post("/stop", headers={"origin": "http://evil.test"}),
    ]

    for each in answers:
        assert "script-src 'self';" in each.headers["content-security-policy"]
        assert "unsafe" not in each.headers["content-security-policy"]
        assert ("nosniff", "DENY") == (each.headers["x-content-type-options"], each.headers["x-frame-options"])
    assert [200, 404, 403] == [each.status_code for each in answers]


@pytest.mark.parametrize("origin", ["http://evil.test", "null", ""])
def test_request_from_another_site_is_refused(workplace: Workplace, origin: str) -> None:
    """A form on another site can't act here, and neither can one that hides where it is from."""
    answer = client_of(workplace).post("/scan", data={"scan": "OP-07"}, headers={"origin": origin})

    assert 403 == answer.status_code


def test_other_name_for_this_machine_is_refused(workplace: Workplace) -> None:
    """A foreign name that leads to this machine's address gets nothing."""
    assert 421 == client_of(workplace).get("/start", headers={"host": "evil.test"}).status_code


def test_everything_needs_sign_in_when_reached_from_elsewhere(workplace: Workplace) -> None:
    """Without a session no page is shown and nothing can be asked."""
    client = client_of(workplace, local=False)
    pages = ["/", "/start", "/events", "/lots", "/held", "/plans", "/equipment"]

    assert {303} == {client.get(each).status_code for each in pages}
    asked = ["/scan", "/verify", "/stop", "/confirm", "/clear-latch", "/plans/release"]
    assert {403} == {client.post(each).status_code for each in asked}
    assert 403 == client.post("/scan", data={"scan": "L2641-01-A01"}).status_code


def test_badge_alone_is_not_enough_from_elsewhere(workplace: Workplace) -> None:
    """Badge and secret sign in; a badge alone, or with another's secret, doesn't."""
    Accounts(workplace.station.home).add("EN-02", Role.ENGINEER, SECRET)
    client = client_of(workplace, local=False)

    assert 403 == client.post("/sign-in", data={"badge": "EN-02"}).status_code
    assert 403 == client.post("/sign-in", data={"badge": "OP-07", "secret": SECRET}).status_code
    assert 303 == client.post("/sign-in", data={"badge": "EN-02", "secret": SECRET}).status_code
    assert 200 == client.get("/lots").status_code


def test_badge_with_an_account_needs_its_secret_here_too(workplace: Workplace) -> None:
    """Once an engineer has a secret, the badge alone is not an engineer any more."""
    Accounts(workplace.station.home).add("EN-02", Role.ENGINEER, SECRET)
    client = client_of(workplace)
    answer = client.post("/scan", data={"scan": "EN-02"})

    assert (303, "/sign-in?badge=EN-02") == (answer.status_code, answer.headers["location"])
    assert {} == dict(client.cookies)


def test_wrong_tries_are_limited(workplace: Workplace) -> None:
    """After so many wrong secrets even the right one is refused for a while."""
    Accounts(workplace.station.home).add("EN-02", Role.ENGINEER, SECRET)
    client = client_of(workplace, local=False)
    for _ in range(TRIES):
        client.post("/sign-in", data={"badge": "EN-02", "secret": "wrong"})
    answer = client.post("/sign-in", data={"badge": "EN-02", "secret": SECRET})

    assert 403 == answer.status_code
    assert "Too many wrong tries" in answer.text


def test_operator_can_not_do_an_engineers_work(workplace: Workplace) -> None:
    """Releasing a plan or a held unit, and clearing a latch, need the role engineer."""
    client = client_of(workplace)
    client.post("/scan", data={"scan": "OP-07"})
    paths = ["/clear-latch", "/plans/release", "/units/L2641-01-A01/release"]

    assert [403, 403, 403] == [client.post(each, data={"why": "because"}).status_code for each in paths]


def test_viewer_may_only_look(workplace: Workplace) -> None:
    """A viewer's scan is not taken."""
    client = client_of(workplace)
    client.post("/scan", data={"scan": "VI-01"})

    assert 403 == client.post("/scan", data={"scan": "L2641-01-A01"}).status_code
    assert 403 == client.post("/verify").status_code


def test_session_ends_when_nobody_is_there(tmp_path: Path) -> None:
    """Idle too long: signed out. Listening to events is not being there."""
    now = [0.0]
    access = Access(Accounts(tmp_path), local=True, now_s=lambda: now[0])
    token = access.sign_in("OP-07", "", address="")
    now[0] = IDLE_S - 1
    listening = access.session(token, touch=False)
    now[0] = IDLE_S + 1

    assert listening is not None
    assert access.session(token) is None


@pytest.mark.slow
def test_page_that_nobody_is_at_is_told_that_it_is_signed_out(workplace: Workplace) -> None:
    """The open event stream says so and ends; the page then asks for a badge. A scan after that is not taken."""
    client = client_of(workplace)
    client.post("/scan", data={"scan": "OP-07"})
    access: Access = client.app.state.site.access  # type: ignore[attr-defined]
    asked = iter(range(10_000))
    began_s = access.now_s()
    access.now_s = lambda: began_s + 400.0 * next(asked)
    events = [line for line in client.get("/events").text.splitlines() if line.startswith("event: ")]

    assert "event: signed-out" == events[-1]
    assert 403 == client.post("/scan", data={"scan": "L2641-01-A01"}).status_code


def test_next_badge_takes_over(workplace: Workplace) -> None:
    """The second badge's scan ends the first one's session."""
    client = client_of(workplace)
    client.post("/scan", data={"scan": "OP-07"})
    client.post("/scan", data={"scan": "OP-08"})
    text = client.get("/start").text

    assert "OP-08" in text
    assert "OP-07 " not in text.replace("<kbd>OP-07</kbd>", "")


def test_scan_is_shown_as_text_and_never_as_markup(workplace: Workplace) -> None:
    """What a scan says in angle brackets stays text."""
    client = client_of(workplace)
    client.post("/scan", data={"scan": "OP-07"})
    answer = client.get("/sign-in", params={"badge": '"><script>'})

    assert "<script>alert" not in answer.text
    assert "&#34;&gt;&lt;script&gt;" in answer.text


def test_redirect_after_sign_in_stays_here(workplace: Workplace) -> None:
    """A smuggled address of another site is not followed."""
    answers = [
        client_of(workplace).post("/sign-in", data={"badge": "OP-07", "next": each})
        for each in ("//evil.test", "https://evil.test", "/\\evil.test", "/lots")
    ]

    assert ["/", "/", "/", "/lots"] == [each.headers["location"] for each in answers]


def test_secret_is_kept_as_a_hash_for_its_owner_only(tmp_path: Path) -> None:
    """The file has no secret in it, and nobody else may read it."""
    Accounts(tmp_path).add("EN-02", Role.ENGINEER, SECRET)
    path = tmp_path / "accounts.json"

    assert SECRET not in path.read_text(encoding="utf-8")
    assert 0o600 == path.stat().st_mode & 0o777
    assert Accounts(tmp_path).proves("EN-02", SECRET)
    assert not Accounts(tmp_path).proves("EN-02", SECRET + "x")
    assert not Accounts(tmp_path).proves("OP-07", SECRET)


@pytest.mark.slow
def test_engineer_who_looks_in_does_not_end_the_shift(tmp_path: Path) -> None:
    """Counters stay the operator's until another badge measures."""
    with workplace_on(tmp_path) as found:
        operator, engineer = client_of(found), client_of(found)
        operator.post("/scan", data={"scan": "OP-07"})
        operator.post("/scan", data={"scan": "L2641-01-A01"})
        wait_for(found, lambda: found.shown.counters.done == 1)
        settled(found)
        engineer.post("/scan", data={"scan": "EN-02"})
        looked = found.shown.counters.done
        engineer.post("/scan", data={"scan": "L2641-01-A02"})
        wait_for(found, lambda: [each.serial for each in found.shown.counters.last] == ["L2641-01-A02"])
        measured = [each.serial for each in found.shown.counters.last]

    assert 1 == looked
    assert ["L2641-01-A02"] == measured
