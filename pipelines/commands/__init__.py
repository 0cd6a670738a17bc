"""What may be asked on the command line; each command is one call.

``terminal``
    Options that commands share; how an answer is shown.
``options``, ``bench``
    The bench.
``daily``
    The box at 7 pm, the card.
``plan``
    Comparison and season.
``trouble``
    An unexpected error as a file to send, without anyone's name.
"""
