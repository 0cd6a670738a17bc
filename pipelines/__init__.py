"""From the owner's sheets to answers and pages, in this order.

``records``
    Sheets in, one records file, views out.
``due``
    What is due, from the records alone.
``fits``
    Which models there are, their fits, kept and read again.
``plan``
    A breeding or a stud's schedule: read and calculated, not yet in words.
``answers``, ``pages``
    What is shown: in a terminal as a value, on a page as a report.
``run``
    The whole story, top to bottom, each step one call.
``commands``, ``cli``
    What may be asked on the command line, and the program itself.
"""
