"""Which sentences state what happens to stored samples?"""

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


def storage_sentences(storage: StudStorage) -> tuple[Sentence, ...]:
    """Until when a usual dose meets its target, the order of extenders, and what it is not."""
    sentences: list[Sentence] = []
    for curve in storage.curves:
        if curve.dose is None or storage.dose_m is None:
            continue
        values: dict[str, Value] = {
            "extender": Word("extender", curve.extender),
            "dose": storage.dose_m,
            "n": storage.n_shipments,
            "target": storage.target_m,
            "certainty": curve.dose.certainty,
        }
        until, low, high = curve.dose.until_h, curve.dose.lower_h, curve.dose.upper_h
        if until is None:
            sentences.append(sentence("storage.meets_never", **values))
            continue
        beyond = "storage.beyond" if curve.is_beyond(until) else "storage.within"
        sentences.append(
            sentence(
                "storage.meets",
                until=until,
                low=low or 0.0,
                high=until if high is None else high,
                basis=sentence(beyond),
                **values,
            )
        )
    if storage.order is not None:
        sentences.append(
            sentence(
                "storage.order",
                extenders=tuple(Word("extender", name) for name in storage.order.extenders),
                hours=storage.order.hours,
                sure=storage.order.order_prob,
            )
        )
    sentences.append(sentence("storage.not_fertility"))
    return tuple(sentences)
