"""Fresh, chilled or frozen: the plan for one breeding, and a stud's schedule.

``options``, ``feasible``
    The ways to breed, and which of them can be carried out.
``simulation``
    The joint simulation; every option shares its random numbers.
``compare``, ``breakeven``, ``what_if``
    How the options differ, where the better one changes, and along a slider.
``measure_next``
    What would be worth knowing before.
``choice``
    Which day of each way, and which way leads.
``breeding_plan``
    The value that terminal and page tell.
``schedule``
    Several bitches and one stud.
"""
