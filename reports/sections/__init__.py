"""Parts that several pages show, each with its pictures and the tables behind them.

``stud_over_time``, ``stored``
    One stud's level; stages and storage of samples.
``litter_sizes``, ``what_if``, ``trust``, ``ledger``
    Litters beside what was expected; sliders; how far the models can be trusted.
``from_records``
    What the kennel's own records supply of a number.
``sources``
    The foot of a page.
``plan_rows``
    Rows of a plan that page and terminal print alike, without the chart library.
"""
