"""In which sentences is told what happens to stored samples?"""

from __future__ import annotations

from studcurve.analytics.measures.stages import EvaluatorsAgreement
from studcurve.analytics.models.storage.usable import StudStorage
from studcurve.analytics.sentences import Sentence, Value, Word, sentence


def agreement_sentence(found: EvaluatorsAgreement) -> Sentence:
    """How far the clinic's reading lies from the kennel's of the same semen."""
    if found.agreement is None:
        return sentence("stages.no_agreement", n=found.n_shipments)
    return sentence(
        "stages.agreement",
        n=found.agreement.n_samples,
        n_apart=found.n_apart,
        bias=found.agreement.bias,
        low=float(found.agreement.lower_limit.median),
        high=float(found.agreement.upper_limit.median),
    )


def storage_sentences(told: StudStorage) -> tuple[Sentence, ...]:
    """Until when a usual dose meets its target, the order of extenders, and what it is not."""
    said: list[Sentence] = []
    for one in told.curves:
        if one.dose is None or told.dose_m is None:
            continue
        values: dict[str, Value] = {
            "extender": Word("extender", one.extender),
            "dose": told.dose_m,
            "n": told.n_shipments,
            "target": told.target_m,
            "certainty": one.dose.certainty,
        }
        until, low, high = one.dose.until_h, one.dose.lower_h, one.dose.upper_h
        if until is None:
            said.append(sentence("storage.meets_never", **values))
            continue
        beyond = "storage.beyond" if one.is_beyond(until) else "storage.within"
        said.append(
            sentence(
                "storage.meets",
                until=until,
                low=low or 0.0,
                high=until if high is None else high,
                basis=sentence(beyond),
                **values,
            )
        )
    if told.order is not None:
        said.append(
            sentence(
                "storage.order",
                extenders=tuple(Word("extender", name) for name in told.order.extenders),
                hours=told.order.hours,
                sure=told.order.order_prob,
            )
        )
    said.append(sentence("storage.not_fertility"))
    return tuple(said)
