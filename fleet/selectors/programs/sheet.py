"""One controller's program sheet: old against new in the order of keying in, why, and what to expect."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sites.calc.program.sheet import KeyedLine, Pass, SheetLetter, day_passes, sheet_letters
from sites.models import Controller, ProgramSet, Recommendation, RecommendationLine, Sensor, Site, Zone
from sites.selectors.issue_gate import barred_programs, outside_rules
from sites.selectors.program_lines import keyed_of

# A reason that warns of something; the others say why.
_CAUTION_WORDS = (
    "at once",
    "the supply is said to give",
    "cut short",
    "Switch the timer off",
    "rules change",
    "By the rule",
    "roots can reach",
    "threshold",
)


@dataclass(frozen=True, slots=True)
class ProgramSheet:
    """The sheet. `answer` is None where no round ran; `letters` then shows what is set.

    `barred` says why the new program may not be issued; the sheet then shows what is set. Empty: it may.
    """

    controller: Controller
    sensor: Sensor | None
    answer: Recommendation | None
    letters: tuple[SheetLetter, ...]
    passes_now: tuple[Pass, ...]
    passes_new: tuple[Pass, ...]
    lines: tuple[RecommendationLine, ...]
    names: dict[int, str]
    why: tuple[str, ...]
    cautions: tuple[str, ...]
    keyed_letters: tuple[tuple[KeyedLine, ...], ...] = ()
    barred: str = ""

    @property
    def is_change(self) -> bool:
        """Whether something is to be keyed in."""
        if self.answer is None or self.barred:
            return False
        return self.answer.is_change and bool(self.lines)

    @property
    def changes(self) -> int:
        """Number of things to key in."""
        return sum(letter.changes for letter in self.letters)

    @property
    def rows(self) -> int:
        """Rows of its longer column: a letter's steps, its head counting as two, sentences below as half."""
        lengths = [len(letter.steps) + 2 for letter in self.letters]
        below = len(" ".join([*self.why[:2], *self.cautions])) / 90
        return round(max(lengths[0], sum(lengths[1:])) + below) if lengths else 0

    @property
    def is_long(self) -> bool:
        """Whether it takes small type to fit one page, A4 or Letter."""
        return self.rows > 12

    @property
    def is_very_long(self) -> bool:
        """Whether it takes the smallest type."""
        return self.rows > 14

    @property
    def litres_a_week(self) -> float:
        """Litres a week by which the new program differs [L]."""
        return abs(self.answer.water_at_stake_l) / 4.0 if self.answer is not None else 0.0

    @property
    def threshold_moves(self) -> bool:
        """Whether the sensor's threshold is to be moved."""
        return self.answer is not None and self.answer.threshold_kpa != self.answer.threshold_kpa_now


def program_sheet(*, site: Site, controller_code: str, day: date) -> ProgramSheet | None:
    """The sheet of a controller of a site; None where there is no such controller."""
    controller = Controller.objects.filter(site=site, code=controller_code).first()
    if controller is None:
        return None
    answer = (
        Recommendation.objects.filter(controller=controller)
        .select_related("controller__site")
        .prefetch_related("lines")
        .order_by("-week")
        .first()
    )
    return sheet_of(controller=controller, answer=answer, day=day)


def sheet_of(*, controller: Controller, answer: Recommendation | None, day: date) -> ProgramSheet:
    """The sheet of a controller beside one answer of the round."""
    setting = (
        ProgramSet.objects.filter(controller=controller, as_of__lte=day)
        .prefetch_related("lines")
        .order_by("-as_of")
        .first()
    )
    sensor = Sensor.objects.filter(controller=controller).first()
    names = dict(Zone.objects.filter(controller=controller).values_list("station", "name"))
    now = keyed_of(setting.lines.all()) if setting is not None else []
    lines = list(answer.lines.all()) if answer is not None else []
    barred = _barred(answer)
    is_change = answer is not None and answer.is_change and bool(lines) and not barred
    new = keyed_of(lines) if is_change else now
    reasons = [str(reason) for reason in answer.reasons] if answer is not None and not barred else []
    cautions = [reason for reason in reasons if any(word in reason for word in _CAUTION_WORDS)]
    if answer is not None and is_change:
        cautions += _outside(answer)
    return ProgramSheet(
        controller=controller,
        sensor=sensor,
        answer=answer,
        letters=sheet_letters(now, new, names, sensor.station if sensor is not None else 0),
        passes_now=day_passes(now),
        passes_new=day_passes(new),
        lines=tuple(lines),
        names=names,
        why=(barred,) if barred else tuple(reason for reason in reasons if reason not in cautions),
        cautions=tuple(cautions),
        keyed_letters=tuple(
            tuple(line for line in new if line.letter == letter)
            for letter in sorted({line.letter for line in new})
        ),
        barred=barred,
    )


def _barred(answer: Recommendation | None) -> str:
    """Why the answer's program may not be issued; empty: it may, or there is none."""
    if answer is None or not answer.is_change:
        return ""
    bar = barred_programs(recommendation_ids=[answer.pk]).get(answer.pk)
    return bar.sentence if bar is not None else ""


def _outside(answer: Recommendation) -> list[str]:
    """What a program breaks of the watering rules as they are now, with the reason that somebody wrote."""
    if not answer.outside_reason:
        return []
    breaks = outside_rules(recommendation_ids=[answer.pk]).get(answer.pk, ())
    if not breaks:
        return []
    reason = answer.outside_reason
    return [f"Outside permitted hours, for a written reason: {reason}. {breaks[0].sentence}"]
