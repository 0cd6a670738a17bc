"""The breedings, as conception and litter read them.

``inputs``
    When was she inseminated, how sure is it; what is usual where nothing was recorded.
``terms``
    What of a breeding enters a linear predictor: columns, dose, motility, timing.
``semen``
    With how many motile sperm and how motile, as one latent pair.
``exposures``
    What was recorded of motility, concentration, hours and day, to be laid beside outcomes.
``records``
    Method, semen, day, animals and outcome of each breeding, as arrays.
"""
