"""From the kennel to what is told of stated chances and what came of them."""

from __future__ import annotations

from studcurve.analytics.wording.ledger import LedgerWording, ledger_wording
from studcurve.pipelines.pages.kennel import Kennel
from studcurve.pipelines.plan.forecasts import kennel_ledger


def forecasts_wording(kennel: Kennel) -> LedgerWording:
    """What became of stated chances, without the dogs that a caution stops."""
    return ledger_wording(*kennel_ledger(kennel.views, kennel.stopped, kennel.today))
