"""The demo: invented throughout, somebody of each role, and never on top of anyone's own data."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest
from django.contrib.auth import authenticate

from fleet.access import access_of
from fleet.models import (
    Arrangement,
    Contractor,
    DueFlag,
    Membership,
    RecallNotice,
    Role,
    Service,
    Shop,
    Snapshot,
    TaskInterval,
    Trimmer,
    User,
)
from fleet.models.tenancy import all_tenants
from fleet.record.demo import NotInvented, build_demo, guard_own_data, is_built
from fleet.record.demo_people import PIN, logins
from fleet.record.pins import who_has_pin

TODAY = dt.date(2027, 4, 12)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _all() -> Iterator[None]:
    with all_tenants():
        yield


def _build() -> None:
    build_demo(today=TODAY, progress=lambda *_: None, scale_to=12)


def test_the_demo_once_built() -> None:
    _holds_what_it_shows()
    _every_role_can_sign_in()
    _people_of_one_contractor_see_no_other()


def _holds_what_it_shows() -> None:
    assert not is_built()
    steps = []
    built = build_demo(today=TODAY, progress=lambda step, done, total: steps.append((step, done, total)), scale_to=12)
    assert is_built()
    assert built.units == Trimmer.objects.filter(retired_on=None).count() >= 12
    assert built.flags == DueFlag.objects.count() > built.units
    assert Service.objects.count() < built.entries
    assert list(Shop.objects.values_list("name", flat=True)) == ["Alder Street Small Engine"]
    assert set(Contractor.objects.values_list("name", "invented")) == {
        ("Quarry Hill Grounds", True), ("Fenwick Verge Care", True), ("Millrace Estates", True),
    }  # fmt: skip
    assert set(Snapshot.objects.values_list("contractor__name", flat=True)) == set(
        Contractor.objects.values_list("name", flat=True)
    )
    assert RecallNotice.objects.count() == 1
    # The shop's own catalog is not bare beside lists that quote the maker's manual.
    assert TaskInterval.objects.filter(shop__name="Alder Street Small Engine", source="maker").exists()
    # The shop has looked after them all along: its people see the whole history.
    first = Service.objects.order_by("occurred_on").values_list("occurred_on", flat=True)[0]
    assert Arrangement.objects.count() == 3
    assert all(a.from_date <= first for a in Arrangement.objects.all())
    for step in {name for name, _, _ in steps}:
        shares = [done / total for name, done, total in steps if name == step]
        assert shares == sorted(shares), f"{step} goes backwards"


def _every_role_can_sign_in() -> None:
    people = list(logins())
    for login in people:
        if not login.tag_path:
            user = authenticate(None, username=login.name, password=login.secret)
            assert user is not None, login
            assert access_of(user, TODAY).contractor_ids, login
    assert set(Membership.objects.values_list("role", flat=True)) == set(Role.values)
    assert len(people) == Membership.objects.count() == User.objects.count()

    (by_tag,) = [login for login in people if login.tag_path]
    (member,) = Membership.objects.exclude(pin="")
    unit = Trimmer.objects.select_related("state").get(tag=by_tag.name, retired_on=None)
    assert unit.state.crew == member.crew
    assert who_has_pin(unit=unit, pin=PIN) == member.user
    assert unit.tag_token in by_tag.tag_path
    assert not member.user.has_usable_password()


def _people_of_one_contractor_see_no_other() -> None:
    for member in Membership.objects.filter(role__in=[Role.OWNER, Role.CREW_BOSS]).select_related("user"):
        assert access_of(member.user, TODAY).contractor_ids == {member.contractor_id}


def test_own_data_is_left_alone() -> None:
    Contractor.objects.create(name="Somebody's own")
    with pytest.raises(NotInvented, match="Somebody's own"):
        guard_own_data()
    with pytest.raises(NotInvented):
        _build()
    assert Contractor.objects.get().name == "Somebody's own"


@pytest.mark.once
def test_a_build_that_broke_off_is_started_over(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_args: object, **_options: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("fleet.record.demo.import_files", interrupted)
        with pytest.raises(KeyboardInterrupt):
            _build()
    assert Contractor.objects.exists()
    assert not is_built()
    _build()
    assert is_built()
    assert Contractor.objects.count() == 3
