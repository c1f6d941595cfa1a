"""Every address, walked by every role: the table of what each page asks for stands here once more, on purpose."""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from facility import services
from facility.access import ACTS, Act
from facility.models import Check, CheckSheet, Event, Evidence, Membership, Site, SiteRole, User
from facility.records.kinds import KINDS
from maintenance.models import Defect, WorkRecord
from tests import make
from tests.project import parts
from treatments.models import Need, Plan, Purpose, Run

BACKEND = "django.contrib.auth.backends.ModelBackend"
OWN = Path(__file__).parent.parent / "data" / "own_facility"

#: what anybody may open, and what needs a signed-in person but no site
OPEN = {"accounts:login", "accounts:first_user", "accounts:accept", "accounts:light",
        "accounts:second", "accounts:oidc_start", "accounts:oidc_back",
        "health:alive", "health:ready", "health:metrics"}  # fmt: skip
SIGNED_IN = {"accounts:logout", "accounts:account", "accounts:proofs", "accounts:add_generator", "accounts:new_paper",
             "accounts:add_passkey", "accounts:take_off_proof", "accounts:end_devices", "readiness:home", "records:first_site",
             "imports:guide", "imports:templates", "worksheets:every", "worksheets:worksheet"}  # fmt: skip
FIRST_ACCOUNT_ONLY = {"imports:upload", "imports:take", "imports:taking", "records:first_site"}

#: page -> the act it asks for; pages of kinds are added below
PAGES: dict[str, Act] = {
    "accounts:accounts": Act.ACCOUNTS, "accounts:unlock": Act.ACCOUNTS, "accounts:reset": Act.ACCOUNTS,
    "accounts:roles": Act.ACCOUNTS, "accounts:set_active": Act.ACCOUNTS, "accounts:take_off_proofs": Act.ACCOUNTS,
    "imports:upload": Act.IMPORT, "imports:take": Act.IMPORT,
    "walk:log": Act.SEE, "walk:every": Act.SEE, "walk:start": Act.CHECK, "walk:blank": Act.SEE, "walk:paper": Act.SIGN,
    "walk:check": Act.SEE, "walk:station": Act.CHECK, "walk:answer": Act.CHECK, "walk:correct": Act.CHECK,
    "walk:leave": Act.CHECK, "walk:give_up": Act.CHECK, "walk:sign": Act.SEE, "walk:sheets": Act.SEE,
    "walk:sheet": Act.SEE, "walk:edit": Act.RULES, "walk:evidence": Act.SEE,
    "readiness:now": Act.SEE, "readiness:now_chamber": Act.SEE, "readiness:why": Act.SEE, "readiness:api": Act.SEE,
    "records:second_look": Act.PEOPLE, "records:confirmed": Act.PEOPLE,
    "places:plant": Act.SEE, "places:people": Act.SEE, "places:records": Act.SEE, "places:events": Act.SEE,
    "places:event": Act.SEE, "places:setup": Act.SEE, "places:house_rules": Act.SEE, "places:set_house_rule": Act.RULES,
    "maintenance:defects": Act.SEE, "maintenance:raise_defect": Act.DEFECT, "maintenance:defect": Act.SEE,
    "maintenance:correct_defect": Act.DEFECT, "maintenance:return_to_service": Act.RETURN, "maintenance:tag": Act.SEE,
    "maintenance:work_list": Act.SEE, "maintenance:work": Act.SEE, "maintenance:record_work": Act.PLANT,
    "maintenance:correct_work": Act.PLANT, "maintenance:second_look_work": Act.PLANT, "maintenance:repair": Act.PLANT,
    "maintenance:labels": Act.SEE,
    "treatments:plans": Act.SEE, "treatments:new_plan": Act.RULES, "treatments:plan": Act.SEE,
    "treatments:change_plan": Act.RULES, "treatments:retire_plan": Act.RULES, "treatments:needs": Act.SEE,
    "treatments:add_need": Act.RULES, "treatments:need": Act.SEE, "treatments:change_need": Act.RULES,
    "treatments:retire_need": Act.RULES, "treatments:runs": Act.SEE, "treatments:start_run": Act.RUN,
    "treatments:run": Act.SEE, "treatments:end_run": Act.RUN,
}  # fmt: skip

#: page -> the act it asks for when a form is sent, where that is more than looking asks for
SENDING: dict[str, Act] = {"walk:sign": Act.SIGN, "walk:sheets": Act.RULES}

#: the parts that bring their own pages: each module has PAGES, and SENDING, OPEN and rows(site) where it needs them
PARTS: list[Any] = [import_module(f"{parts.__name__}.{one.name}") for one in pkgutil.iter_modules(parts.__path__)]
for part in PARTS:
    PAGES |= part.PAGES
    SENDING |= getattr(part, "SENDING", {})
    OPEN |= getattr(part, "OPEN", set())


def addresses(resolver: URLResolver, space: str = "", before: str = "") -> Iterator[tuple[str, str]]:
    """Yield (name, pattern text) of every address."""
    for entry in resolver.url_patterns:
        text = before + str(entry.pattern)
        if isinstance(entry, URLPattern):
            yield space + str(entry.name), text
        else:
            yield from addresses(entry, space + (f"{entry.namespace}:" if entry.namespace else ""), text)


OPEN_PATTERNS = {pattern for name, pattern in addresses(get_resolver()) if name in OPEN}


def rows_of(site: Site) -> dict[str, Any]:
    """Return one existing thing for each part that an address may ask for."""
    chamber = site.chambers.get()
    plan = Plan.objects.current().filter(chamber=chamber)[0]
    sheet = CheckSheet.objects.filter(chamber=chamber)[0]
    check = Check.objects.filter(sheet=sheet)[0]
    run = services.add(
        Run(chamber=chamber, number=1, purpose=Purpose.TEST, plan=plan, started_at=make.NOON, planned_end_at=make.NOON,
            ended_at=make.NOON, supervisor="Ina Test"),
        by=make.BY,
    )  # fmt: skip
    scan = services.add(
        Evidence(site=site, sha256="0" * 64, media_type="image/png", size_bytes=1, original_name="a.png"), by=make.BY
    )
    pks = {
        "walk:check": check, "walk:station": check, "walk:answer": check, "walk:correct": check, "walk:leave": check,
        "walk:give_up": check, "walk:sign": check, "walk:sheet": sheet, "walk:edit": sheet, "walk:evidence": scan,
        "treatments:plan": plan, "treatments:change_plan": plan, "treatments:retire_plan": plan,
        "treatments:run": run, "treatments:end_run": run,
    }  # fmt: skip
    need, defect = Need.objects.filter(chamber=chamber)[0], Defect.objects.filter(site=site)[0]
    pks |= {f"treatments:{word}need": need for word in ("", "change_", "retire_")}
    pks |= {
        f"maintenance:{word}": defect for word in ("defect", "correct_defect", "return_to_service", "tag", "repair")
    }
    work = WorkRecord.objects.filter(equipment__site=site)[0]
    pks |= {f"maintenance:{word}": work for word in ("work", "correct_work", "second_look_work")}
    pks |= {"records:second_look": _a_qualification(site)}
    pks |= {"records:confirmed": site.contacts.all()[0]}
    values = {
        "site": site.key, "chamber": chamber.key, "plan": plan.key, "sheet_pk": sheet.pk, "number": check.version.version,
        "place": 1, "answer_pk": 1, "seq": Event.objects.all()[0].seq, "name": "gas_content", "key": "check_age_min",
    }  # fmt: skip
    more: dict[str, Any] = {}
    for part in PARTS:
        more |= part.rows(site) if hasattr(part, "rows") else {}
    return {"pks": {name: row.pk for name, row in pks.items()}, "parts": values, "more": more}


def _a_qualification(site: Site) -> Any:
    return next(held for person in site.people.all() for held in person.qualifications.all())


def address(name: str, pattern: str, known: dict[str, Any], user: User) -> str:
    """Return the address of a page with existing things filled in."""
    values = {key: value for key, value in known["parts"].items() if f":{key}>" in pattern}
    own = known["more"].get(name)
    if isinstance(own, dict):
        values |= own
    elif own is not None:
        values["pk"] = own.pk
    elif ":pk>" in pattern:
        values["pk"] = user.pk if name.startswith("accounts:") else known["pks"][name]
    return reverse(name, kwargs=values)


@pytest.fixture
def site(db: None) -> Site:
    """Return a small facility taken in from its own files."""
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


def client_of(user: User) -> Client:
    """Return a client in which ``user`` is signed in."""
    client = Client()
    client.force_login(user, backend=BACKEND)
    return client


def is_site_page(pattern: str) -> bool:
    """Return whether a page belongs to one site and its people."""
    return pattern.startswith("<slug:site>/") and pattern not in OPEN_PATTERNS


def test_every_address_has_its_place_in_the_table() -> None:
    kinds = {name for name, pattern in addresses(get_resolver()) if ":kind>" in pattern}
    named = set(PAGES) | OPEN | SIGNED_IN | FIRST_ACCOUNT_ONLY | kinds
    assert {name for name, _ in addresses(get_resolver())} == named


def test_every_site_page_lets_in_exactly_the_roles_whose_acts_allow_it(site: Site) -> None:
    known = rows_of(site)
    wrong = []
    for role in SiteRole:
        person = make.user(site, role)
        client = client_of(person)
        for name, pattern in addresses(get_resolver()):
            if not is_site_page(pattern) or ":kind>" in pattern:
                continue
            status = client.get(address(name, pattern, known, person)).status_code
            allowed = PAGES[name] in ACTS[role]
            if (status == 403) is allowed and status != 405:
                wrong.append((role.value, name, status))
    assert wrong == []


def test_pages_that_only_take_a_form_refuse_the_wrong_role_too(site: Site) -> None:
    """A page that answers 405 to a look is tried with a form: 403 comes before anything is done."""
    known = rows_of(site)
    person = make.user(site, SiteRole.INSPECTOR)
    client = client_of(person)
    before = Event.objects.count()
    for name, pattern in addresses(get_resolver()):
        if not is_site_page(pattern) or ":kind>" in pattern:
            continue
        if SENDING.get(name, PAGES[name]) is not Act.SEE:
            assert client.post(address(name, pattern, known, person)).status_code == 403, name
    assert Event.objects.count() == before


def test_nobody_gets_in_without_signing_in(site: Site) -> None:
    known = rows_of(site)
    nobody = User(pk=1)
    for name, pattern in addresses(get_resolver()):
        if name in OPEN or "<slug:kind>" in pattern:
            continue
        answer = Client().get(address(name, pattern, known, nobody))
        assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (302, reverse("accounts:login")), name


def test_the_people_of_another_site_find_nothing(site: Site) -> None:
    known = rows_of(site)
    stranger = make.user(make.site(), *SiteRole)
    client = client_of(stranger)
    for name, pattern in addresses(get_resolver()):
        if is_site_page(pattern) and ":kind>" not in pattern:
            assert client.get(address(name, pattern, known, stranger)).status_code in (404, 405), name


def test_things_of_another_site_are_not_found_under_ones_own(site: Site) -> None:
    """The same numbers under the address of a site where one may do everything."""
    known = rows_of(site)
    own = make.site()
    director = make.user(own, SiteRole.DIRECTOR)
    client = client_of(director)
    known["parts"]["site"] = own.key
    for name, pattern in addresses(get_resolver()):
        if is_site_page(pattern) and (":pk>" in pattern or "_pk>" in pattern) and ":kind>" not in pattern:
            outsider = next(iter(User.objects.exclude(memberships__site=own)), None) or make.user(site, "tender")
            assert client.get(address(name, pattern, known, outsider)).status_code in (404, 405), name


@pytest.mark.parametrize("role", SiteRole)
def test_each_kind_of_record_is_added_by_exactly_the_roles_that_may(site: Site, role: SiteRole) -> None:
    client = client_of(make.user(site, role))
    wrong = []
    for kind in KINDS:
        status = client.get(reverse("records:add", args=[site.key, kind.slug])).status_code
        allowed = kind.act in ACTS[role] and not kind.first_account_only
        if (status == 200) is not allowed:
            wrong.append((kind.slug, status))
        assert client.get(reverse("records:list", args=[site.key, kind.slug])).status_code == 200
    assert wrong == []


def test_a_role_that_was_taken_back_no_longer_lets_in(site: Site) -> None:
    person = make.user(site, SiteRole.DIRECTOR)
    client = client_of(person)
    assert client.get(reverse("readiness:now", args=[site.key])).status_code == 200
    services.retire(Membership.objects.get(user=person), by=make.BY, reason="left")
    assert client.get(reverse("readiness:now", args=[site.key])).status_code == 404


def test_every_answer_carries_the_strict_policy_and_is_not_stored(site: Site) -> None:
    known = rows_of(site)
    director = make.user(site, SiteRole.DIRECTOR)
    client = client_of(director)
    for name, pattern in addresses(get_resolver()):
        if ":kind>" in pattern or name in OPEN:
            continue
        headers = client.get(address(name, pattern, known, director)).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy, name
        assert "unsafe" not in policy, name
        assert headers["X-Content-Type-Options"] == "nosniff", name
        assert headers["X-Frame-Options"] == "DENY", name
        assert "no-store" in headers["Cache-Control"], name
