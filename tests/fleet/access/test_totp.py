"""One-time codes against the printed vectors of RFC 4226 (Appendix D) and RFC 6238 (Appendix B)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.totp import Algorithm, hotp_code, step_of_code, totp_step

SECRET = b"12345678901234567890"
LONG = {"sha1": SECRET, "sha256": (SECRET * 2)[:32], "sha512": (SECRET * 4)[:64]}
RFC_4226 = (
    "755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489",
)  # fmt: skip
RFC_6238 = [
    (59, "94287082", "46119246", "90693936"),
    (1111111109, "07081804", "68084774", "25091201"),
    (1111111111, "14050471", "67062674", "99943326"),
    (1234567890, "89005924", "91819424", "93441116"),
    (2000000000, "69279037", "90698825", "38618901"),
    (20000000000, "65353130", "77737706", "47863826"),
]


def test_codes_of_a_counter_are_those_of_rfc_4226() -> None:
    assert tuple(hotp_code(SECRET, counter) for counter in range(10)) == RFC_4226


@pytest.mark.parametrize(("time_s", "sha1", "sha256", "sha512"), RFC_6238)
def test_codes_of_a_clock_are_those_of_rfc_6238(time_s: int, sha1: str, sha256: str, sha512: str) -> None:
    names: tuple[Algorithm, ...] = ("sha1", "sha256", "sha512")

    found = [hotp_code(LONG[name], totp_step(time_s), digits=8, algorithm=name) for name in names]

    assert found == [sha1, sha256, sha512]


@given(st.integers(0, 4_000_000_000), st.integers(-3, 3))
def test_a_code_fits_for_one_step_either_way_and_once(time_s: int, late: int) -> None:
    step = totp_step(time_s)
    code = hotp_code(SECRET, max(0, step + late))

    found = step_of_code(SECRET, code, time_s=max(time_s, 30), after_step=-1)

    if abs(late) <= 1 and step >= 1:
        assert found is not None
        assert step_of_code(SECRET, code, time_s=time_s, after_step=step + 1) is None


@pytest.mark.parametrize("said", ["", "28708", "2870822", "٢٨٧٠٨٢", "287\x0082", "28708é"])
def test_what_is_no_code_fits_never(said: str) -> None:
    assert step_of_code(SECRET, said, time_s=30, after_step=-1) is None
