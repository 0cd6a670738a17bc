"""From views and posteriors to what each page shows; the pages themselves are in ``reports``.

``kennel``, ``anonymous``
    What every page reads, once; the same without names.
``stud``
    What is read of one stud, gathered once and passed on.
``storage``, ``trust``, ``ledger``, ``provenance``
    Parts that several pages show.
``stud_review``, ``overview``, ``handout``, ``shipment_sheet``, ``comparison``
    One file a page.
``files``
    What the files are called.
"""
