"""The records: what the owner wrote, checked, kept and read again.

``sheets``
    Which columns there are, what cannot be true of them, what they mean.
``reading``
    From a file to lines of text.
``database``, ``sql/``
    The only door to the database: from lines to records to views.
``template``, ``guide``
    The workbook that is filled in, and what it says of itself.
``corrections``
    The workbook of lines that wait for a person.
``archive``
    Copies that outlive the machine.
``dog_history``
    What is read of one dog: what must be said of it, and its progesterone.
"""
