"""Fresh, chilled or frozen: the plan for one breeding, and for a season.

``options`` and ``feasible``: what can be carried out. ``lateness``, ``samples``: what the box and
the sample may turn out to be. ``unknowns``, ``chain`` and ``pups``: the joint simulation, common
random numbers shared by every option. ``compare`` and ``breakeven``: how the options differ.
``measure_next``: what would be worth knowing before. ``season``, ``season_ways`` and
``season_program``: several bitches and one stud.
"""
