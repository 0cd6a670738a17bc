"""The only door to the database.

``schema``
    Migrations and views, and what must always hold.
``loading``
    How staged lines become records.
``tables``
    Whole tables out and in again.
``history``
    Confirmed, withdrawn, erased.
``health_functions``
    How SQL asks what a Health line says.
``store``
    The records file itself.
"""
