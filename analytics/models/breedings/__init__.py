"""The breedings, as conception and litter read them.

``inputs``
    When was she inseminated, with how much, how sure is either.
``terms``
    What of a breeding enters a linear predictor: columns, dose, timing.
``records``
    Method, dose, day, animals and outcome of each breeding, as arrays.
"""
