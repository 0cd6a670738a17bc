"""Pure computation: arrays and frozen dataclasses in, the same out.

The rooms, in the order a number travels:

``errors``, ``estimate``, ``vocabulary``, ``priors``, ``sentences``
    What can go wrong; how an answer is stated; what the quantities are called; what is published,
    and how much it is worth; what a stated fact is before it has words.
``measures``
    Closed-form measures, each with its formula, unit and source.
``models``
    One folder a question: what is published, moved by the kennel's own records.
``cautions``
    What must be said before any number, and which number it stops.
``trust``
    Whether a model is right about kennels like this one.
``outcomes``
    What motility, concentration, hours and day went with.
``plan``
    One breeding or a schedule: what can be done, what may come of it, what is worth knowing.
``due``
    What is due on a day, and what heads it.
``wording``
    Which sentence is true, with which numbers; never its words.

Nothing here opens a file, a database, a template or a clock.
"""
