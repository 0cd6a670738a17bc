"""Pure computation: arrays and frozen dataclasses in, the same out.

The way through the package, in the order a number travels:

``errors``, ``vocabulary``, ``estimate``
    What can go wrong, what the quantities are called, how an answer is stated.
``counting``, ``semen``, ``calendar``
    Closed-form measures, each with its formula, unit and source.
``priors``, ``sampling``, ``models/``
    What is published, how it is updated, one model file a question.
``checking``, ``plan``, ``cautions``, ``wording``
    Whether a model is right, what to do with it, what must be said first, and in which words.

Nothing here opens a file, a database, a template or a clock.
"""
