"""The only door to the database.

``schema``
    Migrations and views, and what must always hold.
``connection``
    The one door: whoever wrote a file, it reaches nothing else.
``loading``, ``line_sql``, ``relations``
    How staged lines become records: the order, the SQL of a sheet, what steps leave for others.
``current_lines``
    The lines that count.
``history``
    Confirmed, withdrawn, erased.
``kept_fits``
    Posteriors as the file keeps them.
``forecasts``
    Stated chances as the file keeps them; only ever added to.
``settings``
    What the kennel has said once; the last day of records that end.
``health_functions``
    How SQL asks what a Health line says.
``tables``
    Whole tables out and in again.
``whole_file``
    A file copied, held and proved sound without opening it as a store.
``store``
    The records file itself.
"""
