"""An engineer grants a concession and accepts units by it, by keyboard; nothing of it looks like a pass."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from starlette.testclient import TestClient

from station.app.accounts import Accounts, Role
from station.app.workplace import Workplace
from station.pages.application import make_application
from station.records.conceded import conceded
from station.records.concessions import concessions
from tests.app.test_concessions import FIT, UNITS, VALUES
from tests.pages.home_in_browser import home_with_lot, looked_at, signed_in
from tests.pages.station_in_browser import opened_browser

pytestmark = pytest.mark.slow
HOME = "http://localhost"
FORM = {
    "kind": "concession", "part": "IS-20", "characteristic": "R20", "upper": "9.6 ohm", "lot": "L2641",
    "expires": "2127-01-31", "customer": "CR-118", "why": "the driver has the voltage", "bin": "80", "bin_name": "ce",
}  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


@pytest.fixture
def station(tmp_path: Path) -> Iterator[tuple[Workplace, str]]:
    """A lot of eight units, three of which fit."""
    with home_with_lot(tmp_path, VALUES) as found:
        yield found


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_engineer_grants_and_accepts_by_keyboard(
    browser: Browser, station: tuple[Workplace, str], scheme: str
) -> None:
    """Granted, three units accepted, each shown as accepted by concession; nothing serious for a screen reader."""
    workplace, address = station
    with signed_in(browser, address, scheme=scheme) as page:
        page.goto(address + "concessions?lot=L2641")
        for label, text in (
            ("Characteristic", "R20"),
            ("Widened upper limit", "9.6 ohm"),
            ("Customer's reference", "CR-118"),
            ("Reason", "the driver has the voltage"),
        ):
            page.get_by_label(label).focus()
            page.keyboard.type(text)
        page.get_by_label("Last day").fill("2127-01-31")
        findings = looked_at(page, "concessions", scheme)
        page.get_by_role("button", name="Sign and grant as EN-02").press("Enter")
        page.wait_for_url("**/concessions/CN-0001")
        findings += looked_at(page, "concession", scheme)
        page.get_by_role("button", name="Sign and accept as EN-02").press("Enter")
        accepted = page.locator("#accepted a").all_inner_texts()
        page.goto(address + f"units/{FIT[0]}")
        expect(page.locator("#decision")).to_contain_text("accepted by concession CN-0001")
        said = page.locator("#decision").inner_text()
        findings += looked_at(page, "unit-conceded", scheme)

    assert [] == findings
    assert list(FIT) == accepted
    assert dict.fromkeys(FIT, "CN-0001") == conceded(workplace.station.records, "L2641")
    assert "pass" not in said
    assert "bin 80 (concession)" in said


@pytest.fixture
def workplace(station: tuple[Workplace, str]) -> Workplace:
    """The workplace alone."""
    return station[0]


def client(workplace: Workplace, badge: str, *, secret: str = "") -> TestClient:
    """Return a client that is signed in."""
    found = TestClient(make_application(workplace), base_url=HOME, headers={"origin": HOME})
    found.post("/sign-in", data={"badge": badge, "secret": secret})
    return found


def test_refused_grant_keeps_what_was_typed(workplace: Workplace) -> None:
    """With what would be right."""
    answer = client(workplace, "EN-02").post("/concessions", data=FORM | {"upper": "9.0 ohm"})

    assert 400 == answer.status_code
    assert "is narrower" in answer.text
    assert 'value="CR-118"' in answer.text


def test_operator_can_neither_grant_nor_accept_nor_withdraw(workplace: Workplace) -> None:
    """The form is not shown and the act is refused."""
    client(workplace, "EN-02").post("/concessions", data=FORM)
    operator = client(workplace, "OP-07")
    tries = [
        operator.post("/concessions", data=FORM),
        operator.post("/concessions/CN-0001/accept", data={"serial": FIT[0]}),
        operator.post("/concessions/CN-0001/withdraw", data={"why": "a try"}),
    ]

    assert [403, 403, 403] == [each.status_code for each in tries]
    assert "Sign and" not in operator.get("/concessions").text + operator.get("/concessions/CN-0001").text
    assert 1 == len(concessions(workplace.station.records))
    assert {} == conceded(workplace.station.records, "L2641")


def test_badge_with_an_account_signs_each_act_with_its_secret(workplace: Workplace) -> None:
    """Who walked away signed in signs nothing: the secret is asked for again."""
    secret = "a long enough secret"
    Accounts(workplace.station.home).add("EN-02", Role.ENGINEER, secret)
    engineer = client(workplace, "EN-02", secret=secret)
    wrong = engineer.post("/concessions", data=FORM | {"secret": "another secret"})
    right = engineer.post("/concessions", data=FORM | {"secret": secret})

    assert 400 == wrong.status_code
    assert "do not go together" in wrong.text
    assert right.url.path == "/concessions/CN-0001"


def test_wrong_secrets_are_few(workplace: Workplace) -> None:
    """After five wrong ones even the right one has to wait: nobody tries them all at a desk that was left."""
    secret = "a long enough secret"
    Accounts(workplace.station.home).add("EN-02", Role.ENGINEER, secret)
    engineer = client(workplace, "EN-02", secret=secret)
    for i in range(5):
        engineer.post("/concessions", data=FORM | {"secret": f"wrong secret {i}"})
    answer = engineer.post("/concessions", data=FORM | {"secret": secret})

    assert "Too many wrong tries" in answer.text
    assert () == concessions(workplace.station.records)


def test_unit_that_does_not_fit_is_told_on_the_page(workplace: Workplace) -> None:
    """One that passes, sent by hand: refused with the reason, the other one is accepted."""
    engineer = client(workplace, "EN-02")
    engineer.post("/concessions", data=FORM)
    answer = engineer.post("/concessions/CN-0001/accept", data={"serial": [UNITS[0], FIT[0]]})

    assert f"{UNITS[0]}: it does not fail now" in answer.text
    assert {FIT[0]: "CN-0001"} == conceded(workplace.station.records, "L2641")
