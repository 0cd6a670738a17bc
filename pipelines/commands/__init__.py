"""What may be asked on the command line; each command is one call.

``groups``, ``options``
    Commands whose options come in groups, and the groups that several share.
``values``
    How a number, a day and a dilution are typed.
``terminal``
    How an answer is shown; on which day a question is asked.
``records``
    Sheets into the records file, corrections, copies, the fit; what is due.
``bench``, ``from_records``
    The bench, and what it takes from the records.
``ship``
    A sample in hand and a courier at the door.
``plan``
    Comparison and schedule; what became of the chances that they stated.
``pages``
    What is written to be read.
``trouble``
    An unexpected error as a file to send, without anyone's name.
"""
