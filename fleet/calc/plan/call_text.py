"""What to say, or to write, to a customer whose hours have changed."""

from __future__ import annotations


def moved_text(
    *, company: str, site_name: str, why: str, old: str, new: str, technician: str, by_mail: bool = False
) -> str:
    """Text to read out on the phone, or to send.

    Parameters
    ----------
    company, site_name, technician
        Names [-].
    why
        One sentence: what came in between [-].
    old, new
        Hours in words, with their day; empty: none were told, or none can be offered yet [-].
    by_mail
        With salutation and closing [-].
    """
    if old and new:
        body = f"We said that we would come to {site_name} on {old}. {why} We now come on {new}"
        body += f"; {technician} will be there." if technician else "."
    elif new:
        who = technician or "Somebody"
        body = f"{why} {who} comes to {site_name} on {new}."
    else:
        body = f"We said that we would come to {site_name} on {old}. {why}"
        body += " We cannot keep that time, and are sorry. When would suit you instead?"
    close = "Nobody has to be at home if the controller and the garden can be reached."
    ask = "If that does not suit you, please tell us, and we find another time." if new else ""
    if by_mail:
        parts = ["Good day,", body, " ".join(one for one in (close if new else "", ask) if one), company]
        return "\n\n".join(one for one in parts if one)
    return " ".join(one for one in (f"This is {company}.", body, close if new else "", ask) if one)
