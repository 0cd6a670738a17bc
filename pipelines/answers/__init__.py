"""What is printed in a terminal, as a value: sentences, tables, remarks, numbers for machines.

``answer``
    That value, and its lines of text.
``counts``, ``semen``, ``heat``
    The bench.
``shipment``, ``slip``, ``card``
    A sample in hand: divided, recorded, its slip; the card for the wall.
``comparison``, ``schedule``
    A plan.
``ledger``
    What became of stated chances; that those of an answer are kept.
``due``
    What is due.
``waiting``
    What was refused or doubted, by the rule that spoke.
"""
