"""Closed-form measures: element-wise formulas, each with its equation, unit and source.

``counting``, ``semen``
    What a count says; what is in a sample.
``agreement``, ``stages``, ``control_chart``
    Do two readers agree; what happened between two stages; is a collection out of line.
``motility_kept``, ``doses``, ``extending``, ``spin``
    How long a sample lasts, how it is divided, thinned and spun.
``dates``, ``moments``
    Which day is it, counted from what; the middle of a moment that lies between two.
``missing``
    What the results that nobody reported could do to a share of litters.
``value_of_information``
    What it would be worth to know more before deciding.
"""
