"""How far the models can be trusted about this kennel: sentences, with the tables behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.trust.checking import Replicated, Scores
from studcurve.analytics.trust.prior_width import METHOD_ROWS, PriorWidth, order_of
from studcurve.analytics.trust.residuals import BETWEEN, ResidualCheck
from studcurve.analytics.trust.second_opinion import SecondOpinion
from studcurve.analytics.wording.checks import Checks
from studcurve.reports.page import Section, Table, columns
from studcurve.reports.words import Words


def check_lines(checks: Checks, words: Words) -> tuple[str, ...]:
    """The paragraphs, in words."""
    return tuple(
        " ".join(words.tell(sentence) for sentence in paragraph) for paragraph in checks.paragraphs
    )


def checks_annex(checks: Checks, words: Words) -> tuple[Section, ...]:
    """Lay out the tables behind the sentences; what there is nothing of is left out."""
    found = (
        _scores(checks.scores or {}, words),
        _residuals(checks.residuals, words),
        _replicated(checks.replicated, words),
        _priors(checks, words),
        *(_opinion(name, opinion, words) for name, opinion in (checks.opinions or {}).items()),
    )
    return tuple(section for section in found if section is not None)


def _scores(scores: Mapping[str, Scores], words: Words) -> Section | None:
    """How each way predicted."""
    if not scores:
        return None
    rows = tuple(
        (
            words[f"predictor.{way}"],
            words.number(score.log_score, 3),
            _with_error(score.log_score_gain, score.log_score_gain_se, words, way),
            words.number(score.brier, 3),
            _with_error(score.brier_gain, score.brier_gain_se, words, way),
        )
        for way, score in scores.items()
    )
    heading = words["check.heading_predicted"]
    names = ["predicted_by", "log_score", "log_gain", "brier", "brier_gain"]
    table = Table(heading, columns(words, names, texts_in={"predicted_by"}), rows)
    return Section("check-predicted", heading, words["check.lead_predicted"], table=table)


def _with_error(gain: float, error: float, words: Words, way: str) -> str:
    """A gain with its error; the model gains nothing over itself."""
    if way == "model":
        return "–"
    return f"{words.number(gain, 3, signed=True)} ± {words.number(error, 3)}"


def _residuals(residuals: Sequence[ResidualCheck], words: Words) -> Section | None:
    """What the outcomes have left on each column, and what would have been found of it."""
    if not residuals:
        return None
    rows = tuple(
        (
            words[f"check.along_{one.name}"],
            words.number(one.fault_points, 0)
            if one.name in BETWEEN
            else f"{words.number(one.fault_points, 0, signed=True)} ± "
            f"{words.number(one.error_points, 0)}",
            words.number(100 * one.p),
            words.number(one.shown_points, 0),
        )
        for one in residuals
    )
    heading = words["check.heading_residuals"]
    names = ["looked_along", "left_points", "by_chance", "would_show"]
    table = Table(heading, columns(words, names, texts_in={"looked_along"}), rows)
    return Section("check-residuals", heading, words["check.lead_residuals"], table=table)


def _replicated(replicated: tuple[Replicated, ...], words: Words) -> Section | None:
    """Figures of the records beside records drawn again."""
    if not replicated:
        return None
    rows = []
    for figure in replicated:
        decimals = 2 if figure.figure == "dispersion" else 0
        rows.append(
            (
                words.word("figure", figure.figure),
                words.number(figure.observed, decimals),
                _interval(figure.again, words, decimals),
                words.number(100 * figure.as_many_prob),
            )
        )
    heading = words["check.heading_again"]
    names = ["figure", "observed", "again", "as_many"]
    table = Table(heading, columns(words, names, texts_in={"figure"}), tuple(rows))
    return Section("check-again", heading, words["check.lead_again"], table=table)


def _priors(checks: Checks, words: Words) -> Section | None:
    """Answers under narrower and wider priors: log odds of methods, chances of studs."""
    rows = [
        (
            words[f"coefficient.{METHOD_ROWS[kind]}"],
            *(
                "–" if estimate is None else words.signed(estimate)
                for estimate in (one.difference.table, one.difference.narrow, one.difference.wide)
            ),
        )
        for kind, one in (checks.methods or {}).items()
    ]
    rows += [
        (
            stud,
            *(
                f"{words.percent(estimate)} %" if estimate is not None else "–"
                for estimate in (width.table, width.narrow, width.wide)
            ),
        )
        for stud, width in (checks.studs or {}).items()
    ]
    if not rows:
        return None
    heading = words["check.heading_priors"]
    lead = words["check.lead_priors"]
    if checks.is_refitted:
        lead = f"{lead} {words['check.lead_refitted']}"
    lead = " ".join((lead, *_order(checks.studs or {}, words)))
    names = ["answer_about", "priors_table", "priors_narrow", "priors_wide"]
    table = Table(heading, columns(words, names, texts_in={"answer_about"}), tuple(rows))
    return Section("check-priors", heading, lead, table=table)


def _order(studs: Mapping[str, PriorWidth], words: Words) -> tuple[str, ...]:
    """Whether another prior puts the studs into another order; nothing of fewer than two."""
    table, narrow, wide = (order_of(studs, way) for way in ("table", "narrow", "wide"))
    if len(table) < 2 or not narrow or not wide:
        return ()
    if table == narrow == wide:
        return (words["check.order_stays"],)
    return (words.say("check.order_turns", table=table, narrow=narrow, wide=wide),)


def _opinion(name: str, opinion: SecondOpinion | Sentence, words: Words) -> Section:
    """A classical analysis beside the model's own ratios, or why there is none."""
    heading = words[f"check.{name}_heading"]
    if isinstance(opinion, Sentence):
        return Section(f"check-{name}", heading, paragraphs=(words.tell(opinion),))
    rows = [
        (
            words[f"coefficient.{row.term}"],
            _interval(row.classical, words, 2),
            "–" if row.ours is None else _interval(row.ours, words, 2),
        )
        for row in opinion.rows
    ]
    rows += [
        (words[f"coefficient.{term}"], words.tell(why), "–")
        for term, why in opinion.left_out.items()
    ]
    names = ["what", "classical", "ours"]
    return Section(
        f"check-{name}",
        heading,
        paragraphs=(" ".join(words.tell(caveat) for caveat in opinion.caveats),),
        table=Table(heading, columns(words, names, texts_in={"what"}), tuple(rows)),
    )


def _interval(estimate: Estimate, words: Words, decimals: int) -> str:
    """A middle with its ends."""
    ends = words.interval(estimate.lower, estimate.upper, decimals)
    return f"{words.number(estimate.median, decimals)} ({ends})"
