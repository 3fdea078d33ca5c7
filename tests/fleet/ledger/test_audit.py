"""The bills behind a saving: from them alone somebody else comes to the same baseline and the same saving."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from html import unescape

import numpy as np
import pytest
import statsmodels.api as sm
from django.test import Client
from scipy import stats

from fleet.models import LedgerSite, Rebate, User
from fleet.selectors.ledger.audit import site_audit
from fleet.selectors.ledger.rebates import rebate_dossier
from fleet.services.ledger.record import update_ledger
from sites.models import MeterVolume, Site
from tests.fleet.ledger.test_bad_input import register, site
from tests.fleet.ledger.test_service import INSTALLED, UNTIL, bills

__all__ = ["site"]  # the fixture
pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


def test_an_independent_library_comes_to_the_same_saving_from_the_bills_shown(site: Site) -> None:
    bills(site, share_after=0.7, seed=1)
    update_ledger(until_day=UNTIL)
    summary = LedgerSite.objects.get(site=site)

    found = site_audit(site=site, summary=summary)

    assert found is not None
    assert not found.is_newer
    days = np.array([bill.days for bill in found.before])
    used = np.array([bill.used_l for bill in found.before]) / days
    need = np.array([bill.need_l for bill in found.before]) / days
    theirs = sm.WLS(used, sm.add_constant(need), weights=days).fit()
    assert summary.model is not None
    assert theirs.params == pytest.approx(
        [summary.model["base_l_d"], summary.model["slope"]], rel=1e-3, abs=2
    )
    assert (len(found.before), found.freedom) == (12, int(theirs.df_resid))
    assert found.r_squared == pytest.approx(theirs.rsquared, abs=0.002)
    assert found.net_bias == pytest.approx(0.0, abs=1e-4)
    # the saving: their expectation of the bills since the change, less what was used on them
    rows = [(bill.days, bill.need_l, bill.used_l) for bill in found.after]
    expected = sum(d * theirs.predict([[1.0, n / d]])[0] for d, n, _ in rows)
    assert found.own_l == pytest.approx(expected, rel=0.01)
    assert summary.saved_l == pytest.approx(expected - sum(row[2] for row in rows), rel=0.02)
    # its exact interval: s sqrt(sum of days + c' (X'WX)^-1 c), Student's t of n - p
    c = np.array([sum(row[0] for row in rows), sum(row[1] for row in rows)])
    s = np.sqrt(theirs.ssr / theirs.df_resid)
    half = stats.t.ppf(0.95, theirs.df_resid) * s * np.sqrt(c[0] + c @ theirs.normalized_cov_params @ c)
    assert summary.saved_high_l is not None
    assert summary.saved_l is not None
    assert summary.saved_high_l - summary.saved_l == pytest.approx(half, rel=0.02)
    assert found.fsu is not None
    assert found.fsu == pytest.approx(half / summary.saved_l, rel=0.15)
    assert found.fsu_correlated is not None
    assert found.fsu_correlated >= found.fsu


def test_bills_that_came_after_the_night_are_said_to_be_newer(site: Site) -> None:
    bills(site, share_after=0.7, seed=1)
    update_ledger(until_day=UNTIL)
    MeterVolume.objects.filter(start=date(2024, 6, 1)).delete()

    found = site_audit(site=site, summary=LedgerSite.objects.get(site=site))

    assert found is not None
    assert found.is_newer


def test_page_and_dossier_show_the_bills_and_the_meter(site: Site, manager: User, sign_in: SignIn) -> None:
    bills(site, share_after=0.7, seed=1)
    register(site, "WM-4711")
    update_ledger(until_day=UNTIL)
    rebate = Rebate.objects.create(
        name="Sensor rebate", supplier="Wend Valley Water", starts_on=INSTALLED - timedelta(days=30),
        ends_on=INSTALLED + timedelta(days=900), amount=150, currency="USD", checked_on=UNTIL,
    )  # fmt: skip
    client = sign_in(manager)

    for address in ("/water/sites/CB-01/", f"/water/rebates/{rebate.pk}/CB-01/"):
        page = unescape(client.get(address).content.decode()).replace("\u00a0", " ")
        assert "Bills behind the saving" in page
        assert "12 bills, 2 fitted parameters, so 10 degrees of freedom" in page
        assert "1 Apr 2024 to 30 Apr 2024" in page
        assert "1 May 2026 to 31 May 2026" in page
    assert "WM-4711" in page


def test_month_of_the_installation_is_neither_before_nor_after_it(site: Site) -> None:
    bills(site, share_after=0.7, seed=1)
    controller = site.controllers.get()
    controller.sensor.installed_on = date(2025, 4, 15)
    controller.sensor.save()
    update_ledger(until_day=UNTIL)
    rebate = Rebate.objects.create(
        name="Sensor rebate", supplier="Wend Valley Water", starts_on=INSTALLED - timedelta(days=30),
        ends_on=INSTALLED + timedelta(days=900), amount=150, currency="USD", checked_on=UNTIL,
        months_before=16,
    )  # fmt: skip

    found = rebate_dossier(rebate=rebate, site=site, today=date(2025, 5, 1))

    assert found is not None
    assert found.before[-1].month == date(2025, 3, 1)
    assert found.after[0].month == date(2025, 5, 1)
    assert found.row.standing.missing == ("1 metered months before the sensor",)


def test_garden_without_a_saving_has_no_bills_behind_it(site: Site) -> None:
    update_ledger(until_day=UNTIL)
    assert site_audit(site=site, summary=LedgerSite.objects.filter(site=site).first()) is None
    assert site_audit(site=site, summary=None) is None
