"""Every page and form, with hostile paths, queries and fields: an answer in words, never a server error.

Texts that would like to be markup come back escaped, or not at all.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route
from starlette.testclient import TestClient

import station.pages
from station.app.files import read_plan
from station.data import data_path
from station.pages.application import make_application
from tests.pages.station_in_browser import workplace_on
from tests.records.makers import make_opened, make_record

HOME = "http://localhost"
MARKUP = "<script>alert(1)</script>"
_TEMPLATES = Path(station.pages.__file__).parent / "templates"
_FIELDS = sorted(
    {name for each in _TEMPLATES.glob("*.html") for name in re.findall(r'name="([a-z_]+)"', each.read_text("utf-8"))}
    | {"lower:R20", "upper:R20", "guard:R20", "frequency:0", "bin:0:number", "bin:0:name", "bin:0:takes", "bin:0:needs"}
)
# They begin a bench, or listen for ever.
_LEFT_OUT = {"/simulate", "/open", "/events"}

_HOSTILE = st.sampled_from(
    (
        MARKUP, "../../etc/passwd", "..%2f..%2fetc", "\x00", "=cmd|'/c calc'!A1", "'; DROP TABLE run; --", "{{7*7}}",
        "-1", "1e999", "nan", "9" * 300, "𝕃２６４１", "\u202eL2641", "L2641", "L2641-01-A01", "IS-20", "1", "0", "",
        " ", "R20", "EN-02", "OP-07", "2026-02-30", "a" * 5_000, "\r\nset-cookie: x=1",
    )
)  # fmt: skip
_TEXT = _HOSTILE | st.text(max_size=40)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """An engineer's browser without script, on a station with a few units on record."""
    home = tmp_path_factory.mktemp("home")
    with workplace_on(home, bench=False) as workplace:
        records = workplace.station.records
        plan = read_plan(data_path("plans/IS-20.toml"))
        records.release_plan(plan, who="EN-02", why="tests", utc=workplace.station.clock.utc_now())
        for column in (1, 2, 3):
            opened = make_opened(f"L2641-01-A{column:02d}")
            records.open_run(opened)
            records.close_run(make_record(opened))
        workplace.plans_changed()
        application = make_application(workplace, local=True, hosts=("localhost",))
        yield TestClient(application, base_url=HOME, headers={"origin": HOME}, follow_redirects=False)


def _routes(client: TestClient) -> list[tuple[str, str]]:
    return [
        (method, each.path)
        for each in client.app.routes  # type: ignore[attr-defined]  # a Starlette
        if isinstance(each, Route) and each.path not in _LEFT_OUT
        for method in sorted((each.methods or set()) - {"HEAD"})
    ]


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_nothing_hostile_breaks_a_page(client: TestClient, data: st.DataObject) -> None:
    """Whatever a path, query or form holds: no server error, no markup of theirs, and the pages go on."""
    method, path = data.draw(st.sampled_from(_routes(client)))
    address = re.sub(r"\{[^}]*\}", lambda _: quote(data.draw(_TEXT), safe=""), path)
    names = data.draw(st.lists(st.sampled_from(_FIELDS), max_size=6))
    _ask(client, method, address, {each: data.draw(_TEXT) for each in names})


@pytest.mark.parametrize("text", [MARKUP, "../../etc/passwd", "\x00", "nan", "9" * 300, "L2641-01-A01", "IS-20"])
def test_every_page_takes_a_hostile_text_everywhere(client: TestClient, text: str) -> None:
    """The same text in the path and in every field there is."""
    for method, path in _routes(client):
        _ask(client, method, re.sub(r"\{[^}]*\}", quote(text, safe=""), path), dict.fromkeys(_FIELDS, text))


def _ask(client: TestClient, method: str, address: str, fields: dict[str, str]) -> None:
    client.post("/scan", data={"scan": "EN-02"})
    answer = client.post(address, data=fields) if method == "POST" else client.get(address, params=fields)

    assert answer.status_code < 500, (method, address, fields)
    assert MARKUP not in answer.text, (method, address, fields)
    assert "set-cookie: x" not in str(answer.headers)


def test_every_form_field_is_known(client: TestClient) -> None:
    """The templates have fields and the pages have routes: else the test above would test nothing."""
    assert {"scan", "why", "badge"} <= set(_FIELDS)
    assert len(_routes(client)) > 20
