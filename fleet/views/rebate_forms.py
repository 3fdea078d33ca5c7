"""What a person types about a rebate or a garden's dossier, checked before a service sees it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

from fleet.models import Rebate, RebateClaim

if TYPE_CHECKING:
    _OfRebate = forms.ModelForm[Rebate]
    _OfClaim = forms.ModelForm[RebateClaim]
else:
    _OfRebate = _OfClaim = forms.ModelForm

_DAY = {"type": "date"}


def _days(*names: str) -> dict[str, forms.DateInput]:
    """Inputs of days."""
    return {name: forms.DateInput(attrs=_DAY, format="%Y-%m-%d") for name in names}


class RebateForm(_OfRebate):
    """A rebate as its supplier words it."""

    class Meta:
        model = Rebate
        fields = (
            "name", "supplier", "starts_on", "ends_on", "amount", "amount_per_station", "share_of_cost",
            "most", "currency", "apply_within_days", "asks_before_work", "needs_meter", "months_before",
            "months_after", "keep_years", "papers", "checked_on",
        )  # fmt: skip
        labels = {
            "starts_on": "Sensors from",
            "ends_on": "Ends before",
            "amount": "Paid a garden",
            "amount_per_station": "Paid a station",
            "share_of_cost": "Share of the invoice, 0 to 1",
            "most": "At most",
            "apply_within_days": "Apply within, days of installation",
            "asks_before_work": "Asks for approval before the work",
            "needs_meter": "Asks for a meter",
            "months_before": "Metered months before",
            "months_after": "Metered months after",
            "keep_years": "Keep in use, years",
            "papers": "Other papers",
            "checked_on": "Held against the supplier’s words on",
        }
        widgets = _days("starts_on", "ends_on", "checked_on")

    def clean_currency(self) -> str:
        """Three letters of ISO 4217."""
        word = str(self.cleaned_data["currency"]).strip().upper()
        if len(word) != 3 or not (word.isascii() and word.isalpha()):
            raise forms.ValidationError("Expected three letters, such as USD.")
        return word

    def clean(self) -> dict[str, Any]:
        """Days in order, money not below nothing, something paid."""
        typed = super().clean() or {}
        start, end = typed.get("starts_on"), typed.get("ends_on")
        if start and end and end <= start:
            self.add_error("ends_on", "Lies on or before the first day.")
        paid = ("amount", "amount_per_station", "share_of_cost", "most")
        for name in paid:
            if (typed.get(name) or 0) < 0:
                self.add_error(name, "Expected 0 or more.")
        if (typed.get("share_of_cost") or 0) > 1:
            self.add_error("share_of_cost", "Expected a share from 0 to 1: 0.5 is half.")
        if not self.errors and not any(typed.get(name) for name in paid[:3]):
            self.add_error("amount", "A rebate pays something.")
        return typed


class ClaimForm(_OfClaim):
    """What a dossier holds beyond the book."""

    class Meta:
        model = RebateClaim
        fields = (
            "state", "account", "consent_on", "approved_on", "device", "invoice", "invoice_on",
            "invoice_total", "area_method", "sent_on", "paid", "note",
        )  # fmt: skip
        labels = {
            "account": "Account with the supplier",
            "consent_on": "Owner’s consent of",
            "approved_on": "Supplier’s approval of",
            "device": "Sensor: make, model, serial",
            "invoice": "Invoice number",
            "invoice_on": "Invoice of",
            "invoice_total": "Invoice total that counts",
            "area_method": "How areas were measured",
            "sent_on": "Sent on",
            "paid": "Paid",
        }
        widgets = _days("consent_on", "approved_on", "invoice_on", "sent_on")

    def clean(self) -> dict[str, Any]:
        """What a state says must be there; money not below nothing."""
        typed = super().clean() or {}
        for name in ("invoice_total", "paid"):
            if (typed.get(name) or 0) < 0:
                self.add_error(name, "Expected 0 or more.")
        if typed.get("state") in (RebateClaim.State.SENT, RebateClaim.State.PAID) and not typed.get(
            "sent_on"
        ):
            self.add_error("sent_on", "Say on which day it was sent.")
        if typed.get("state") == RebateClaim.State.PAID and typed.get("paid") is None:
            self.add_error("paid", "Say what was paid.")
        return typed
