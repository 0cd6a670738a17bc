"""Fresh, chilled or frozen: the plan for one breeding, and for a season.

``options`` and ``feasible``: what can be carried out. ``lateness``, ``samples``: what the box and
the sample may turn out to be. ``unknowns`` and ``chain``: the joint simulation, common random
numbers shared by every option.
"""
