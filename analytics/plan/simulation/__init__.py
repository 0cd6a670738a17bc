"""One breeding, drawn: what may come of each option, with random numbers shared by all.

``lateness``, ``samples``
    What the shipment and the sample may turn out to be.
``unknowns``
    Everything that is drawn once and shared.
``chain``
    From option to chance of a litter.
``pups``
    From litter to pups.
"""
