"""A plan's chain that knows no dog: every partner is a new one."""

from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.plan.simulation.unknowns import N_JOINT_DRAWS, Chain


def published_chain(rng, n_draws=N_JOINT_DRAWS):
    """Draws of the published table alone."""
    return Chain(conception.PUBLISHED.draw(rng, n_draws), {})
